package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"oldhand/projections"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

var words = regexp.MustCompile(`"(?:[^"\\]|\\.)*"|\S+`)

// wanted reads lines as the samples write them.
func wanted(t *testing.T, lines string) (out [][]cell) {
	t.Helper()
	for _, line := range strings.Split(strings.TrimSpace(lines), "\n") {
		var cells []cell
		for _, w := range words.FindAllString(line, -1) {
			if w[0] != '"' {
				cells = append(cells, cell{w, true})
				continue
			}
			s, err := strconv.Unquote(w)
			if err != nil {
				t.Fatal(err)
			}
			cells = append(cells, word(s))
		}
		out = append(out, cells)
	}
	return out
}

func written(t *testing.T, write func(io.Writer, *projections.Result) error, r *projections.Result) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// readCSV reads with the standard library, which leaves empty lines out.
func readCSV(t interface{ Fatal(...any) }, b []byte) [][]string {
	dec := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(b, []byte{0xef, 0xbb, 0xbf})))
	dec.FieldsPerRecord = -1
	rows, err := dec.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func TestCSVHoldsEveryCell(t *testing.T) {
	for _, a := range answers {
		rows := readCSV(t, written(t, CSV, a.answer()))
		var want [][]cell
		for _, line := range wanted(t, a.lines) {
			if line != nil {
				want = append(want, line)
			}
		}
		if len(rows) != len(want) {
			t.Fatalf("%s: %d lines, want %d: %q", a.name, len(rows), len(want), rows)
		}
		for i, row := range rows {
			if len(row) != len(want[i]) {
				t.Fatalf("%s, line %d: %q, want %v", a.name, i+1, row, want[i])
			}
			for j, got := range row {
				if w := want[i][j].text; got != w && !(w == "=1+2" && got == "'=1+2") {
					t.Errorf("%s, line %d, column %d: %q, want %q", a.name, i+1, j+1, got, w)
				}
			}
		}
	}
}

// RFC 4180, section 2: lines end in CRLF. The mark is the one of The Unicode
// Standard, section 23.8, which spreadsheets take as the sign of UTF-8.
func TestCSVHasTheMarkAndTheLineEndsOfASpreadsheet(t *testing.T) {
	b := written(t, CSV, turnaround())
	if !bytes.HasPrefix(b, []byte{0xef, 0xbb, 0xbf, 'g'}) || bytes.Count(b, []byte{0xef, 0xbb, 0xbf}) != 1 {
		t.Errorf("it begins with % x", b[:4])
	}
	if n, all := bytes.Count(b, []byte("\r\n")), bytes.Count(b, []byte("\n")); n != all || n != 12 || !bytes.HasSuffix(b, []byte("\r\n")) {
		t.Errorf("%d of %d lines end in CRLF, want 12", n, all)
	}
}

func named(texts ...string) *projections.Result {
	r := nothing()
	for _, s := range texts {
		r.Rows = append(r.Rows, map[string]any{"maker": s})
	}
	return r
}

// What a spreadsheet takes for the beginning of a formula: OWASP, "CSV
// injection" (from memory), as far as the job book's reader takes it off again.
func TestNoTextIsAFormula(t *testing.T) {
	texts := []string{"=1+2", "+49 170", "-Ostrel", "@SUM(A1)", "\tx", "\rx", "=HYPERLINK(\"http://example.org\")", "-5"}
	rows := readCSV(t, written(t, CSV, named(texts...)))
	for i, s := range texts {
		if got := rows[i+1][0]; got != "'"+s {
			t.Errorf("%q is written as %q", s, got)
		}
	}
	for _, s := range []string{"Ostrel", "a=b", "'=x", "", " =x", "3-4"} {
		if got := readCSV(t, written(t, CSV, named(s)))[1][0]; got != s {
			t.Errorf("%q is written as %q", s, got)
		}
	}
	f := opened(t, written(t, XLSX, named(texts...)))
	for i, s := range texts {
		at := "A" + strconv.Itoa(i+2)
		formula, err := f.GetCellFormula("parts", at)
		if err != nil || formula != "" {
			t.Errorf("%q became the formula %q (%v)", s, formula, err)
		}
		if kind, err := f.GetCellType("parts", at); err != nil || kind != excelize.CellTypeInlineString && kind != excelize.CellTypeSharedString {
			t.Errorf("%q is a cell of type %v (%v), want text", s, kind, err)
		}
	}
}

func TestNumbersBelowZeroStayNumbers(t *testing.T) {
	r := nothing()
	r.Rows = []any{map[string]any{"lift": -2.5, "p": 3e-9, "units": 344}}
	if row := readCSV(t, written(t, CSV, r))[1]; strings.Join(row, " ") != "-2.5 3e-9 344" {
		t.Errorf("CSV has %q", row)
	}
	f := opened(t, written(t, XLSX, r))
	for at, want := range map[string]float64{"A2": -2.5, "B2": 3e-9, "C2": 344} {
		if got := numberAt(t, f, "parts", at); got != want {
			t.Errorf("%s is %v, want %v", at, got, want)
		}
	}
}

func opened(t interface{ Fatal(...any) }, b []byte) *excelize.File {
	f, err := excelize.OpenReader(bytes.NewReader(b), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func numberAt(t *testing.T, f *excelize.File, sheet, at string) float64 {
	t.Helper()
	kind, err := f.GetCellType(sheet, at)
	if err != nil || kind != excelize.CellTypeUnset && kind != excelize.CellTypeNumber {
		t.Fatalf("%s is of type %v (%v), want a number", at, kind, err)
	}
	s, err := f.GetCellValue(sheet, at)
	if err != nil {
		t.Fatal(err)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("%s: %v", at, err)
	}
	return v
}

func TestXLSXHoldsEveryCell(t *testing.T) {
	for _, a := range answers {
		f := opened(t, written(t, XLSX, a.answer()))
		main := f.GetSheetName(0)
		if main != a.answer().Question {
			t.Errorf("the sheet is named %q", main)
		}
		sameCells(t, f, main, wanted(t, a.lines))
		if a.curve != "" {
			sameCells(t, f, "curve", wanted(t, a.curve))
		} else if f.SheetCount != 1 {
			t.Errorf("%s: sheets %v", a.name, f.GetSheetList())
		}
	}
}

func sameCells(t *testing.T, f *excelize.File, sheet string, want [][]cell) {
	t.Helper()
	rows, err := f.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(want) {
		t.Fatalf("%s: %d lines, want %d: %q", sheet, len(rows), len(want), rows)
	}
	for i, line := range want {
		if len(rows[i]) > len(line) {
			t.Errorf("%s, line %d: %q, want %v", sheet, i+1, rows[i], line)
		}
		for j, w := range line {
			at, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if w.number {
				v, err := strconv.ParseFloat(w.text, 64)
				// The library reads 15 figures, as many as spreadsheets keep.
				if got := numberAt(t, f, sheet, at); err != nil || math.Abs(got-v) > 1e-15*math.Abs(v)*5 {
					t.Errorf("%s, %s: %v, want %v", sheet, at, got, v)
				}
				continue
			}
			got, err := f.GetCellValue(sheet, at)
			if kind, _ := f.GetCellType(sheet, at); err != nil || got != w.text || w.text != "" && kind != excelize.CellTypeInlineString && kind != excelize.CellTypeSharedString {
				t.Errorf("%s, %s: %q of type %v (%v), want the text %q", sheet, at, got, kind, err, w.text)
			}
		}
	}
}

// part reads one part of a workbook as it is.
func part(t *testing.T, b []byte, name string) string {
	t.Helper()
	book, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	from, err := book.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(from)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Fifteen figures are those that spreadsheets keep (Excel's specification,
// "number precision").
func TestAWorkbookKeepsFifteenFigures(t *testing.T) {
	xml := part(t, written(t, XLSX, turnaround()), "xl/worksheets/sheet1.xml")
	for _, v := range []string{"<v>0.333333333333333</v>", "<v>0.300000000000000</v>", "<v>27.5</v>"} {
		if !strings.Contains(xml, v) {
			t.Errorf("the sheet has no %s", v)
		}
	}
}

func TestColumnsComeInOrderAndNoneIsAsWideAsTheMethod(t *testing.T) {
	xml := part(t, written(t, XLSX, turnaround()), "xl/worksheets/sheet1.xml")
	before := 0
	for _, m := range regexp.MustCompile(`<col min="(\d+)" max="\d+" width="([\d.]+)"`).FindAllStringSubmatch(xml, -1) {
		n, _ := strconv.Atoi(m[1])
		width, _ := strconv.ParseFloat(m[2], 64)
		if n != before+1 || width < 8 || width > 34 {
			t.Errorf("column %d after %d is %v wide", n, before, width)
		}
		before = n
	}
	if before != 17 {
		t.Errorf("%d columns have a width, want 17", before)
	}
}

func TestHeadingsAreBoldAndTheFirstStaysInSight(t *testing.T) {
	f := opened(t, written(t, XLSX, turnaround()))
	for sheet, bold := range map[string]map[string]bool{
		"turnaround": {"A1": true, "Q1": true, "A2": false, "A4": true, "A5": false, "A7": false},
		"curve":      {"A1": true, "F1": true, "A2": false},
	} {
		for at, want := range bold {
			id, err := f.GetCellStyle(sheet, at)
			if err != nil {
				t.Fatal(err)
			}
			style, err := f.GetStyle(id)
			if err != nil {
				t.Fatal(err)
			}
			if got := style.Font != nil && style.Font.Bold; got != want {
				t.Errorf("%s, %s is bold: %v, want %v", sheet, at, got, want)
			}
		}
		panes, err := f.GetPanes(sheet)
		if err != nil || !panes.Freeze || panes.YSplit != 1 || panes.XSplit != 0 || panes.TopLeftCell != "A2" {
			t.Errorf("%s: panes %+v (%v)", sheet, panes, err)
		}
	}
}

func TestTheSameAnswerGivesTheSameBytes(t *testing.T) {
	for name, write := range map[string]func(io.Writer, *projections.Result) error{"csv": CSV, "xlsx": XLSX} {
		first := written(t, write, turnaround())
		for range 20 {
			if !bytes.Equal(first, written(t, write, turnaround())) {
				t.Fatalf("%s: other bytes the second time", name)
			}
		}
	}
}

func TestAWorkbookHasTheTimesOfItsAnswer(t *testing.T) {
	props, err := opened(t, written(t, XLSX, turnaround())).GetDocProps()
	if err != nil || props.Created != "2026-11-25T00:00:00Z" || props.Modified != props.Created {
		t.Errorf("created %q, modified %q (%v)", props.Created, props.Modified, err)
	}
}

func TestSheetsHaveNamesThatSpreadsheetsTake(t *testing.T) {
	for question, want := range map[string]string{
		"failures": "failures", "curve": "answer", "Curve": "answer", "": "answer", "a/b:c[d]?": "a b c d", "'x'": "x",
		strings.Repeat("ä", 40): strings.Repeat("ä", 31), strings.Repeat("📻", 20): strings.Repeat("📻", 15),
	} {
		r := turnaround()
		r.Question = question
		f := opened(t, written(t, XLSX, r))
		if got := f.GetSheetName(0); got != want {
			t.Errorf("question %q: sheet %q, want %q", question, got, want)
		}
		if f.SheetCount != 2 {
			t.Errorf("question %q: sheets %v", question, f.GetSheetList())
		}
	}
}

// Spreadsheets keep 15 figures of a number (Excel's specification, "number
// precision").
func TestWholeNumbersTooLongForASpreadsheetStayText(t *testing.T) {
	r := nothing()
	r.Rows = []any{map[string]any{"a": int64(123456789012345), "b": int64(1234567890123456789), "c": uint64(18446744073709551615)}}
	f := opened(t, written(t, XLSX, r))
	if got := numberAt(t, f, "parts", "A2"); got != 123456789012345 {
		t.Errorf("A2 is %v", got)
	}
	for at, want := range map[string]string{"B2": "1234567890123456789", "C2": "18446744073709551615"} {
		got, err := f.GetCellValue("parts", at)
		if kind, _ := f.GetCellType("parts", at); err != nil || got != want || kind == excelize.CellTypeNumber || kind == excelize.CellTypeUnset {
			t.Errorf("%s is %q of type %v (%v), want the text %s", at, got, kind, err, want)
		}
	}
}

func TestAnyTextComesBack(t *testing.T) {
	// XML 1.0 has no place for most control characters; names have none.
	text := rapid.StringOf(rapid.OneOf(rapid.RuneFrom([]rune("=+-@'\",;\t\n\r _x000D_Ωµ📻<&>")), rapid.RuneFrom([]rune("abc123"))))
	rapid.Check(t, func(t *rapid.T) {
		texts := rapid.SliceOfN(text, 1, 5).Draw(t, "texts")
		var b bytes.Buffer
		if err := CSV(&b, named(texts...)); err != nil {
			t.Fatal(err)
		}
		rows := readCSV(t, b.Bytes())
		b.Reset()
		if err := XLSX(&b, named(texts...)); err != nil {
			t.Fatal(err)
		}
		f := opened(t, b.Bytes())
		for i, s := range texts {
			got := rows[i+1][0]
			if got != "" && strings.ContainsAny(got[:1], "=+-@\t\r") {
				t.Fatalf("%q is written as %q", s, got)
			}
			if len(got) > 1 && got[0] == '\'' && strings.ContainsAny(got[1:2], "=+-@\t\r\n") && !strings.HasPrefix(s, "'") {
				got = got[1:]
			}
			// The standard library reads CRLF inside of quotes as LF.
			if want := strings.ReplaceAll(s, "\r\n", "\n"); got != want {
				t.Fatalf("CSV: %q came back as %q", s, got)
			}
			if got, err := f.GetCellValue("parts", "A"+strconv.Itoa(i+2)); err != nil || got != s {
				t.Fatalf("XLSX: %q came back as %q (%v)", s, got, err)
			}
		}
	})
}

// A cell holds 32,767 characters of UTF-16 (ECMA-376 leaves it open; it is Excel's
// limit). A text that another bench made longer must not take the workbook from all.
func TestATextTooLongForACellIsCut(t *testing.T) {
	for _, c := range []struct{ text, end string }{
		{strings.Repeat("x", 32767), "xx"}, {strings.Repeat("x", 40000), "x…"}, {"x" + strings.Repeat("📻", 20000), "📻…"}, {strings.Repeat("📻", 20000), "📻…"},
	} {
		f := opened(t, written(t, XLSX, named(c.text, "after")))
		got, err := f.GetCellValue("parts", "A2")
		if n := len(utf16.Encode([]rune(got))); err != nil || n > 32767 || n < 32766 || !strings.HasSuffix(got, c.end) || strings.Contains(got, "\ufffd") {
			t.Errorf("%.9q...: %d characters are left, and the end is %q (%v)", c.text, n, got[max(0, len(got)-8):], err)
		}
		if got, _ := f.GetCellValue("parts", "A3"); got != "after" {
			t.Errorf("behind it stands %q", got)
		}
	}
}

type fullDisk struct{}

var errFull = errors.New("no space left on device")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestWhatCannotBeWrittenIsSaid(t *testing.T) {
	dayless := nothing()
	dayless.AsOf = "yesterday"
	flat := nothing()
	flat.Rows = []any{"no object"}
	crooked := nothing()
	crooked.Rows = []any{map[string]any{"steps": [][]float64{{1, 2}}}}
	for _, c := range []struct {
		write func(io.Writer, *projections.Result) error
		r     *projections.Result
		want  string
	}{
		{XLSX, dayless, `its day is "yesterday"`},
		{XLSX, crooked, "row 1: steps: a step of 2 numbers"},
		{XLSX, nil, "there is no answer"},
		{CSV, nil, "there is no answer"},
		{CSV, flat, "row 1: it is no object"},
	} {
		var b bytes.Buffer
		if err := c.write(&b, c.r); err == nil || !strings.Contains(err.Error(), c.want) || b.Len() > 0 {
			t.Errorf("got %v and %d bytes, want %q and none", err, b.Len(), c.want)
		}
	}
	for _, write := range []func(io.Writer, *projections.Result) error{CSV, XLSX} {
		if err := write(fullDisk{}, turnaround()); !errors.Is(err, errFull) {
			t.Errorf("a full disk gives %v", err)
		}
	}
}
