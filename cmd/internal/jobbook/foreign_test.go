package jobbook

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
)

// A book as a German shop would have kept it: a title above the headings,
// semicolons, decimal commas, days first, Windows-1252. Invented; what it says
// was written down together with it.
func TestABookWithSemicolonsAndDecimalCommasIsReadWithoutHelp(t *testing.T) {
	data, err := os.ReadFile("testdata/werkstatt.csv")
	if err != nil {
		t.Fatal(err)
	}
	b := mustOpen(t, string(data), Mapping{})
	m := b.Mapping
	if m.Encoding != Windows1252 || m.Separator != ';' || m.Dates != DayFirst || m.Decimal != "," || m.Currency != "EUR" || m.HeadingRow != 2 {
		t.Errorf("mapping: %s", m)
	}
	if d := cmp.Diff([]string{"Regal"}, b.Unused); d != "" {
		t.Error(d)
	}
	rows, refused := readAll(b)
	if len(rows) != 3 || len(refused) != 1 {
		t.Fatalf("%d rows, refused %v", len(rows), refused)
	}
	if want := (Refused{6, 6, "4", "date in cannot be read: 31.02.1998"}); refused[0] != want {
		t.Errorf("refused %+v", refused[0])
	}
	r := rows[0]
	if r.Received != (Day{1998, 4, 3}) || r.Shipped != (Day{1998, 4, 28}) || r.Customer != "Jörg Ummel" || r.Address != "Mühlgasse 4" || r.Postcode != "01234" ||
		r.City != "Großfelden" || r.Serial != "K 4711/2" || r.PartsText != "C40 50+50 µF" || r.Charge != (Charge{"1.234,50 €", true, 123450, "EUR"}) {
		t.Errorf("row 1: %+v", r)
	}
	if d := cmp.Diff([]Reading{{"Brumm", "Brumm (mV)", "12,5", "mV", ""}}, r.Readings); d != "" {
		t.Error(d)
	}
	r = rows[1]
	if r.Received != (Day{1998, 4, 5}) || !r.Shipped.IsZero() || r.YearFrom != 1958 || r.FoundText != "Lautsprecher; Spule offen" || r.Charge.Minor != 35900 || r.Notes != `sagt: "eilig"` {
		t.Errorf("row 2: %+v", r)
	}
	r = rows[2]
	if r.Received != (Day{1998, 5, 13}) || r.YearFrom != 1960 || r.YearTo != 1962 || r.Charge != (Charge{"94,-", true, 9400, "EUR"}) {
		t.Errorf("row 3: %+v", r)
	}
}

const plainBook = "Date in;Date out;Make;Model;Serial;Notes\n1/21/97;1/30/97;Corvane;MS-40;E17;déjà vu\n2/3/97;;Ostrel;2210;G16;\n"

func utf16Bytes(s string, big bool) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune("\uFEFF" + s)) {
		if big {
			b.WriteByte(byte(u >> 8))
			b.WriteByte(byte(u))
		} else {
			b.WriteByte(byte(u))
			b.WriteByte(byte(u >> 8))
		}
	}
	return b.String()
}

func TestABookReadsTheSameHoweverItWasSaved(t *testing.T) {
	want, _ := readAll(mustOpen(t, plainBook, Mapping{}))
	if len(want) != 2 || want[0].Notes != "déjà vu" {
		t.Fatalf("%+v", want)
	}
	quoted := strings.ReplaceAll(plainBook, "déjà vu", `"déjà vu"`)
	for name, data := range map[string]string{
		"with a byte order mark": "\uFEFF" + plainBook,
		"UTF-16 little end":      utf16Bytes(plainBook, false),
		"UTF-16 big end":         utf16Bytes(plainBook, true),
		"Windows-1252":           strings.NewReplacer("é", "\xe9", "à", "\xe0").Replace(plainBook),
		"Windows line ends":      strings.ReplaceAll(plainBook, "\n", "\r\n"),
		"old Macintosh":          strings.ReplaceAll(plainBook, "\n", "\r"),
		"no last line end":       strings.TrimSuffix(plainBook, "\n"),
		"quoted":                 quoted,
		"commas":                 strings.ReplaceAll(plainBook, ";", ","),
		"tabs":                   strings.ReplaceAll(plainBook, ";", "\t"),
		"bars":                   strings.ReplaceAll(plainBook, ";", "|"),
		"outer space":            strings.ReplaceAll(plainBook, ";", " ; "),
	} {
		got, refused := readAll(mustOpen(t, data, Mapping{}))
		if len(refused) != 0 {
			t.Errorf("%s: %v", name, refused)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

func TestColumnsInAnotherOrderGiveTheSameKeys(t *testing.T) {
	a, _ := readAll(mustOpen(t, plainBook, Mapping{}))
	b, _ := readAll(mustOpen(t, "Notes,Manufacturer,S/N,Model no.,Shipped,Rec'd,Tag\n déjà vu,Corvane,E17,MS-40,1/30/97,1/21/97,\n,Ostrel,G16,2210,,2/3/97,\n", Mapping{}))
	for i := range a {
		if a[i].Key != b[i].Key {
			t.Errorf("row %d has another key: %+v and %+v", i, a[i], b[i])
		}
	}
	if a[0].Key == a[1].Key {
		t.Error("two rows have one key")
	}
	// the same letters in other cells are another row
	c, _ := readAll(mustOpen(t, "date in,make,model\n1/21/97,Ostrel 2,210\n1/21/97,Ostrel,2210\n1/21/97,Ostrel 2210,\n1/21/97,,Ostrel 2210\n1/21/97,Ostrelmodel2210,\n1/21/97,Ostrel\x05model\x042210,\n", Mapping{}))
	keys := map[[16]byte]bool{}
	for _, r := range c {
		keys[r.Key] = true
	}
	if len(keys) != 6 {
		t.Errorf("%d keys of 6 rows", len(keys))
	}
	// made apart from the project: SHA-256 by Python's hashlib over the names and cells, each behind its length
	if got := fmt.Sprintf("%x", a[1].Key); got != "6eb73cb7cdfdb8129fe3a1248a5f9f8a" {
		t.Errorf("key %s: rows that were taken in before would be taken in again", got)
	}
}

func TestAFileThatIsNoBookIsRefusedByName(t *testing.T) {
	for _, c := range []struct{ data, why string }{
		{"", "the file is empty"},
		{"\uFEFF", "the file is empty"},
		{" \r\n\n", "the file is empty"},
		{"PK\x03\x04rest", "workbook"},
		{"a\x00b,c\n", "byte 1 is zero"},
		{"colour,size\nred,4\n", "no column is known as the date in"},
		{strings.Repeat("date in,", 2000) + "\n", "has 2001 columns"},
		{"date in,colour\n1997-01-02,red\n", "no column is known as the maker"},
	} {
		_, err := Open([]byte(c.data), Options{AsOf: asOf})
		if err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%q: %v, want %q", c.data, err, c.why)
		}
	}
	if _, err := Open([]byte(plainBook), Options{}); err == nil {
		t.Error("a book was opened with no day after which no date may lie")
	}
}

func TestABookOfHeadingsAloneHasNoRows(t *testing.T) {
	b := mustOpen(t, "Date in,Make,Model,Serial\n", Mapping{})
	rows, refused := readAll(b)
	if len(rows)+len(refused) != 0 || b.Mapping.Columns[Maker] != "Make" {
		t.Errorf("%v %v %s", rows, refused, b.Mapping)
	}
}

func TestBytesThatAreNotTheNamedEncodingRefuseTheirRowAlone(t *testing.T) {
	b := mustOpen(t, "date in,make\n1997-01-02,Ostrel\n1997-01-03,Caf\xe9\n", Mapping{Encoding: UTF8})
	rows, refused := readAll(b)
	if len(rows) != 1 || len(refused) != 1 || refused[0].Why != "holds bytes that are not utf-8" {
		t.Errorf("%v %v", rows, refused)
	}
	rows, _ = readAll(mustOpen(t, "date in,make\n1997-01-02,Caf\xe9\n1997-01-02,\x81a\n", Mapping{}))
	if len(rows) != 2 || rows[0].Maker != "Café" || len(rows[0].Warnings) != 0 || len(rows[1].Warnings) != 1 {
		t.Errorf("%+v", rows)
	}
}
