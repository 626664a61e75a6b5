package workbook

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

// made gives the bytes of a workbook that the library writes.
func made(t testing.TB, fill func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	fill(f)
	b, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// set sets cells of the first sheet, and gives each a format where it has one.
func set(t testing.TB, f *excelize.File, cells map[string]any, codes map[string]string) {
	t.Helper()
	for at, v := range cells {
		if err := f.SetCellValue("Sheet1", at, v); err != nil {
			t.Fatal(err)
		}
		if code, ok := codes[at]; ok {
			id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &code})
			if err != nil {
				t.Fatal(err)
			}
			if err := f.SetCellStyle("Sheet1", at, at, id); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func readFirst(t testing.TB, data []byte) (rows []Row, merged []Merged) {
	t.Helper()
	b, err := Open(data)
	if err != nil {
		t.Fatal(err)
	}
	merged, err = b.Read(b.Sheets[0], func(r Row) error {
		r.Cells = append([]string{}, r.Cells...)
		rows = append(rows, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return rows, merged
}

// What a sheet shows of a number is told by its format. Sources: the codes and their
// meaning are ECMA-376 part 1, 18.8.30 and 18.8.31; that fifteen figures are kept is
// the published limit of the spreadsheet that the standard comes from.
func TestACellIsReadAsTheSheetShowsIt(t *testing.T) {
	day := time.Date(1997, 1, 30, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		value  any
		code   string
		want   string
		remark bool
	}{
		{"text", "E17-17750", "", "E17-17750", false},
		{"text of figures", "007", "", "007", false},
		{"text of many figures", "123456789012345678", "", "123456789012345678", false},
		{"text over lines", "hums\nand buzzes", "", "hums\nand buzzes", false},
		{"text with quotes and commas", `3" speaker, torn; "Trio"`, "", `3" speaker, torn; "Trio"`, false},
		{"a number", 1000, "", "1000", false},
		{"a fraction", 12.5, "", "12.5", false},
		{"a fraction with noise", 0.1 + 0.2, "", "0.3", false},
		{"zeros before", 4711, "000000", "004711", false},
		{"zeros and a dash", 178441, `00\-0000`, "17-8441", false},
		{"twelve figures", 123456789012, "", "123456789012", false},
		{"fifteen figures", 123456789012345, "", "123456789012345", false},
		{"seventeen figures", 12345678901234567, "", "12345678901234567", true},
		{"shown as a power", 123456789012, "0.00E+00", "123456789012", false},
		{"dollars", 359, `"$"0.00`, "$359.00", false},
		{"dollars with thousands", 1234.5, `"$"#,##0.00`, "$1234.50", false},
		{"euros", 1234.5, `#,##0.00\ "€"`, "1234.50 €", false},
		{"accounts", 94, `_("$"* #,##0.00_);_("$"* \(#,##0.00\)`, "$94.00", false},
		{"percents", 0.05, "0%", "5%", false},
		{"a day", day, "m/d/yy", "1997-01-30", false},
		{"a day in German", day, `[$-407]d. mmmm yyyy`, "1997-01-30", false},
		{"a day with its hour", day.Add(14*time.Hour + 5*time.Minute), "yyyy-mm-dd hh:mm", "1997-01-30 14:05", false},
		{"an hour", 0.5, "h:mm AM/PM", "12:00 PM", false},
		{"yes", true, "", "TRUE", false},
		{"a format of words", 7, `"unit "0`, "unit 7", false},
		{"a format that speaks of days", 7, `0" days"`, "7 days", false},
	} {
		rows, _ := readFirst(t, made(t, func(f *excelize.File) {
			codes := map[string]string{}
			if c.code != "" {
				codes["B3"] = c.code
			}
			set(t, f, map[string]any{"B3": c.value}, codes)
		}))
		if len(rows) != 1 || rows[0].Number != 3 || len(rows[0].Cells) != 2 || unpadded(rows[0].Cells[1]) != unpadded(c.want) {
			t.Errorf("%s: %+v, want %q in B3", c.name, rows, c.want)
			continue
		}
		if (rows[0].Remark != "") != c.remark {
			t.Errorf("%s: remark %q", c.name, rows[0].Remark)
		}
	}
}

// unpadded leaves out the spaces with which a format lines amounts up.
func unpadded(s string) string { return strings.ReplaceAll(s, " ", "") }

// Days of both counts. Source: ECMA-376 part 1, 18.17.4.1: 1 January 1900 is 1, and
// 1 January 1904 is 0 in the other; 60 is a day that never was, so 61 is 1 March 1900.
func TestDaysAreCountedFromWhereTheWorkbookSays(t *testing.T) {
	for _, c := range []struct {
		number   float64
		from1904 bool
		want     string
	}{
		{1, false, "1900-01-01"}, {59, false, "1900-02-28"}, {61, false, "1900-03-01"}, {35460, false, "1997-01-30"}, {35460.75, false, "1997-01-30"},
		{0, true, "1904-01-01"}, {33998, true, "1997-01-30"}, {45621, false, "2024-11-25"},
	} {
		b := &Book{From1904: c.from1904}
		if got, ok := b.date(c.number, false); !ok || got != c.want {
			t.Errorf("%v (1904: %v): %s, want %s", c.number, c.from1904, got, c.want)
		}
	}
	for _, none := range []float64{-1, 0, 2958466, 1e300} {
		if got, ok := (&Book{}).date(none, false); ok {
			t.Errorf("%v is the day %s", none, got)
		}
	}
}

func TestRowsKeepTheirNumbersAndEmptyOnesAreNone(t *testing.T) {
	rows, merged := readFirst(t, made(t, func(f *excelize.File) {
		set(t, f, map[string]any{"A1": "Job book", "A4": "Job", "C4": "Date in", "A9": "1000", "A500": " "}, map[string]string{"B700": "0.00"})
		for _, area := range [][2]string{{"A1", "D1"}, {"B4", "B5"}, {"C9", "D12"}} {
			if err := f.MergeCell("Sheet1", area[0], area[1]); err != nil {
				t.Fatal(err)
			}
		}
	}))
	want := []Row{{Number: 1, Cells: []string{"Job book"}}, {Number: 4, Cells: []string{"Job", "", "Date in"}}, {Number: 9, Cells: []string{"1000"}}}
	if d := cmp.Diff(want, rows); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]Merged{{4, 5, 1}, {9, 12, 2}}, merged); d != "" {
		t.Error(d)
	}
}

// unpackedParts are the parts of a workbook, to be spoiled.
func unpackedParts(t testing.TB, data []byte) map[string]string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err := errors.Join(err, r.Close()); err != nil {
			t.Fatal(err)
		}
		parts[f.Name] = string(b)
	}
	return parts
}

func packedParts(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range parts {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, text); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// sheetOf is a workbook whose first sheet has these rows, as XML.
func sheetOf(t testing.TB, rows string) []byte {
	parts := unpackedParts(t, made(t, func(f *excelize.File) { set(t, f, map[string]any{"A1": "Job", "A2": "x"}, nil) }))
	parts["xl/worksheets/sheet1.xml"] = `<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` + rows + `</sheetData></worksheet>`
	return packedParts(t, parts)
}

func TestFormulasGiveTheValueThatWasKept(t *testing.T) {
	rows, _ := readFirst(t, sheetOf(t, `<row r="1"><c r="A1"><f>1+1</f><v>2</v></c><c r="B1" t="str"><f>A1&amp;"x"</f><v>2x</v></c><c r="C1" t="str"><f>""</f></c><c r="D1" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>`+
		`<row r="2"><c r="A2"><f>A1*2</f></c><c r="B2" t="inlineStr"><is><r><t>Ost</t></r><r><t>rel</t></r><rPh><t>no</t></rPh></is></c></row>`+
		`<row r="3"><c r="A3" t="d"><v>1997-01-30T00:00:00</v></c><c t="str"><v>a_x000D_b_x00zz_</v></c><c><v>1.2345678901234501E+16</v></c></row>`))
	if len(rows) != 3 {
		t.Fatalf("%d rows", len(rows))
	}
	if d := cmp.Diff([]string{"2", "2x", "", "#DIV/0!"}, rows[0].Cells); d != "" {
		t.Error(d)
	}
	if rows[1].Broken == "" || !strings.Contains(rows[1].Broken, "column A") || rows[1].Cells[1] != "Ostrel" {
		t.Errorf("a formula without a value: %+v", rows[1])
	}
	if d := cmp.Diff([]string{"1997-01-30", "a\rb_x00zz_", "12345678901234500"}, rows[2].Cells); d != "" {
		t.Error(d)
	}
}

// A sheet that is not whole is an error, never fewer rows.
func TestADamagedSheetIsAnErrorAndNotAShorterOne(t *testing.T) {
	row := func(n int) string { return fmt.Sprintf(`<row r="%d"><c r="A%d"><v>%d</v></c></row>`, n, n, n) }
	for name, rows := range map[string]string{
		"a text that is not there": row(1) + `<row r="2"><c r="A2" t="s"><v>9999</v></c></row>`,
		"rows that go back":        row(2) + row(1),
		"a row twice":              row(1) + row(1),
		"cells that go back":       `<row r="1"><c r="B1"><v>1</v></c><c r="A1"><v>2</v></c></row>`,
		"a cell of another row":    `<row r="1"><c r="A2"><v>1</v></c></row>`,
		"no number":                `<row r="1"><c r="A1"><v>abc</v></c></row>`,
		"a row beyond the last":    `<row r="1048577"><c r="A1048577"><v>1</v></c></row>`,
		"a column beyond the last": `<row r="1"><c r="XFE1"><v>1</v></c></row>`,
		"an unknown type":          `<row r="1"><c r="A1" t="q"><v>1</v></c></row>`,
		"an open element":          row(1) + `<row r="2"><c r="A2">`,
		"a broken-off tag":         row(1) + `<row r="2"`,
		"elements without end":     strings.Repeat("<a>", 100) + strings.Repeat("</a>", 100),
	} {
		b, err := Open(sheetOf(t, rows))
		if err == nil {
			_, err = b.Read(b.Sheets[0], func(Row) error { return nil })
		}
		if err == nil {
			t.Errorf("%s: is read", name)
		}
	}
	// A byte of the packed file turned round is found, or changes nothing.
	data := made(t, func(f *excelize.File) { set(t, f, map[string]any{"A1": "Job", "A2": "1000", "B2": "Ostrel"}, nil) })
	want, _ := readFirst(t, data)
	for i := 0; i < len(data); i += 7 {
		spoiled := bytes.Clone(data)
		spoiled[i] ^= 0xFF
		b, err := Open(spoiled)
		if err != nil {
			continue
		}
		var got []Row
		_, err = b.Read(b.Sheets[0], func(r Row) error {
			got = append(got, Row{Number: r.Number, Cells: append([]string{}, r.Cells...)})
			return nil
		})
		if err == nil && !cmp.Equal(want, got) {
			t.Fatalf("byte %d turned round: %v without an error", i, got)
		}
	}
}

func TestWhatIsNoWorkbookIsRefusedByName(t *testing.T) {
	locked := func() []byte {
		f := excelize.NewFile()
		defer f.Close()
		b, err := f.WriteToBuffer()
		if err != nil {
			t.Fatal(err)
		}
		out, err := excelize.Encrypt(b.Bytes(), &excelize.Options{Password: "lantern"})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	rels := func(target string) string {
		return `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="` + target + `"/></Relationships>`
	}
	for name, c := range map[string]struct {
		data []byte
		want error
	}{
		"encrypted":      {locked(), ErrEncrypted},
		"xls":            {append([]byte(compound), make([]byte, 2000)...), ErrOldFormat},
		"ods":            {packedParts(t, map[string]string{"mimetype": "application/vnd.oasis.opendocument.spreadsheet"}), ErrOpenDocument},
		"xlsb":           {packedParts(t, map[string]string{"_rels/.rels": rels("xl/workbook.bin"), "xl/workbook.bin": "\x00"}), ErrBinary},
		"another zip":    {packedParts(t, map[string]string{"a.txt": "hums"}), ErrNoWorkbook},
		"a text program": {packedParts(t, map[string]string{"_rels/.rels": rels("word/document.xml"), "word/document.xml": "<document><body/></document>"}), ErrNoWorkbook},
	} {
		if _, err := Open(c.data); !errors.Is(err, c.want) || !Is(c.data) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	if _, err := Open([]byte(packed + "cut off")); err == nil {
		t.Error("a cut archive opens")
	}
}

// A file of some kilobytes that unpacks to more than a sheet may have is an error
// after as much as that.
func TestASheetThatUnpacksWithoutEndIsRefused(t *testing.T) {
	long := strings.Repeat("hum ", 8000)
	parts := unpackedParts(t, sheetOf(t, ""))
	parts["xl/sharedStrings.xml"] = `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>` + long + `</t></si></sst>`
	parts["xl/worksheets/sheet1.xml"] = `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>` +
		strings.Repeat(`<row><c t="s"><v>0</v></c></row>`, 20_000) + `</sheetData></worksheet>`
	data := packedParts(t, parts)
	b, err := Open(data)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = b.Read(b.Sheets[0], func(Row) error { return nil }); !errors.Is(err, errTooMuchText) {
		t.Errorf("%d bytes that hold 640 MB of text: %v", len(data), err)
	}
	l := &limited{strings.NewReader("abc"), 2}
	if got, err := io.ReadAll(l); !errors.Is(err, errTooMuch) || string(got) != "ab" {
		t.Errorf("%q, %v", got, err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(`<row r="1"><c r="A1"><v>2</v></c></row>`, `<numFmt numFmtId="164" formatCode="0000"/>`)
	f.Add(`<row><c t="s" s="1"><v>0</v></c><c t="d"><v>1997-01-30</v></c></row>`, `<numFmt numFmtId="164" formatCode="[$-407]d. mmm &quot;x&quot;"/>`)
	f.Add(`<row r="3"><c r="B3" s="1"><v>35460.5</v></c><c><f>1</f></c></row>`, `<numFmt numFmtId="164" formatCode="[h]:mm;@"/>`)
	base := unpackedParts(f, made(f, func(x *excelize.File) { set(f, x, map[string]any{"A1": "Job"}, map[string]string{"A1": "0"}) }))
	f.Fuzz(func(t *testing.T, rows, codes string) {
		base["xl/worksheets/sheet1.xml"] = `<worksheet><sheetData>` + rows + `</sheetData><mergeCells><mergeCell ref="A1:B2"/></mergeCells></worksheet>`
		base["xl/styles.xml"] = `<styleSheet><numFmts>` + codes + `</numFmts><cellXfs><xf numFmtId="0"/><xf numFmtId="164"/></cellXfs></styleSheet>`
		b, err := Open(packedParts(t, base))
		if err != nil {
			return
		}
		last := 0
		_, _ = b.Read(b.Sheets[0], func(r Row) error {
			if r.Number <= last || r.Number > MostRows || len(r.Cells) > mostColumns {
				t.Fatalf("row %d behind %d with %d cells", r.Number, last, len(r.Cells))
			}
			last = r.Number
			return nil
		})
	})
}
