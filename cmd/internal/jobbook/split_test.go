package jobbook

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// splitAll gives the cells of each record, and "broken" for one that is.
func splitAll(data string, sep byte) [][]string {
	var out [][]string
	s := newSplitter([]byte(data), sep)
	for {
		rec, ok := s.next()
		if !ok {
			return out
		}
		if rec.broken != "" {
			out = append(out, []string{"broken"})
			continue
		}
		cells := make([]string, len(rec.cells))
		for i, c := range rec.cells {
			cells[i] = string(c)
		}
		out = append(out, cells)
	}
}

// standardSplit splits with the standard library's reader of RFC 4180. It tells
// false for a file that the library finds fault with.
func standardSplit(data string, sep byte) ([][]string, bool) {
	r := csv.NewReader(strings.NewReader(data))
	r.Comma, r.FieldsPerRecord = rune(sep), -1
	out, err := r.ReadAll()
	return out, err == nil
}

// sameAsStandard compares the two. The library drops blank lines and the
// carriage returns inside quotes, which is not what is compared.
func sameAsStandard(t *testing.T, data string, sep byte) {
	t.Helper()
	want, ok := standardSplit(data, sep)
	if !ok {
		return
	}
	var got [][]string
	for _, rec := range splitAll(data, sep) {
		if len(rec) == 1 && rec[0] == "" {
			continue
		}
		for i := range rec {
			rec[i] = strings.ReplaceAll(rec[i], "\r\n", "\n")
		}
		got = append(got, rec)
	}
	var wanted [][]string
	for _, rec := range want {
		if len(rec) != 1 || rec[0] != "" {
			wanted = append(wanted, rec)
		}
	}
	if d := cmp.Diff(wanted, got); d != "" {
		t.Errorf("%q: %s", data, d)
	}
}

var splitSamples = []string{
	"a,b,c\n1,2,3\n", "a,b", "a,\n", ",,\n,\n", "\"a\",b\r\n\"c\"\r\n", "\"a\"\"b\",\"\"\n", "\"two\nlines\",x\n", "\"a\r\nb\",\"\"\"\"\n",
	"a,\"b,c\",d\n", "x\r\n\r\ny\r\n", "\"\"", "\"a\",", "é,\"ü\"\n", "a\rb,c\n", "\"x\"\r", "\r\n", "a,b\r", "\"a\"\n\"b\"",
}

func TestRecordsAreSplitAsTheStandardSays(t *testing.T) {
	for _, data := range splitSamples {
		sameAsStandard(t, data, ',')
		sameAsStandard(t, strings.ReplaceAll(data, ",", ";"), ';')
	}
}

func FuzzSplitAsTheStandardSays(f *testing.F) {
	for _, s := range splitSamples {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, data string) {
		if len(data) > 4096 {
			return
		}
		sameAsStandard(t, data, ',')
	})
}

func TestAQuoteAstrayCostsItsOwnLineOnly(t *testing.T) {
	for _, c := range []struct {
		name, data string
		want       [][]string
	}{
		{"inside a cell", "a,b\n1,12\" speaker\n2,x\n", [][]string{{"a", "b"}, {"broken"}, {"2", "x"}}},
		{"behind a cell", "a,b\n1,\"x\"y\n2,x\n", [][]string{{"a", "b"}, {"broken"}, {"2", "x"}}},
		{"never closed", "a,b\n1,\"x\n2,y\n3,z\n", [][]string{{"a", "b"}, {"broken"}, {"2", "y"}, {"3", "z"}}},
		{"closed by a later row's quote", "a,b\n1,\"x\n2,y\n3,\"z, w\"\n4,v\n", [][]string{{"a", "b"}, {"broken"}, {"2", "y"}, {"3", "z, w"}, {"4", "v"}}},
		{"at the very end", "a,b\n1,\"", [][]string{{"a", "b"}, {"broken"}}},
	} {
		if d := cmp.Diff(c.want, splitAll(c.data, ',')); d != "" {
			t.Errorf("%s: %s", c.name, d)
		}
	}
}

// The library's reader is what makes the rule needed: it takes the rows up to
// the next quote with it.
func TestRowsBehindAQuoteThatWasNeverClosedAreKept(t *testing.T) {
	data := "date in,make,notes\n1997-01-02,Ostrel,\"left open\n1997-01-03,Corvane,b\n1997-01-04,Tessaly,\"c, d\"\n1997-01-05,Quillane,\n1997-01-06,Varnholt,\"\"\n"
	rows, refused := readAll(mustOpen(t, data, Mapping{}))
	var makers []string
	for _, r := range rows {
		makers = append(makers, r.Maker)
	}
	if d := cmp.Diff([]string{"Corvane", "Tessaly", "Quillane", "Varnholt"}, makers); d != "" {
		t.Error(d)
	}
	if len(refused) != 1 || refused[0].Row != 2 || refused[0].Line != 2 || !strings.Contains(refused[0].Why, "quote") {
		t.Errorf("refused %v", refused)
	}
	lib := csv.NewReader(strings.NewReader(data))
	kept := 0
	for {
		_, err := lib.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			kept++
		}
	}
	if kept >= 5 {
		t.Errorf("the library keeps %d records as well: the splitter is not needed", kept)
	}
}

// A quote that happens to close in a later row makes a record of two rows with
// too many or too few cells.
func TestARecordOfSeveralLinesWithOtherCellsIsOneBrokenLine(t *testing.T) {
	data := "date in,make,notes\n1997-01-02,Ostrel,\"left open\n1997-01-03,Corvane,b\n1997-01-04,Tessaly\",x\n1997-01-05,Quillane,\n"
	rows, refused := readAll(mustOpen(t, data, Mapping{}))
	lines := map[int]bool{}
	for _, r := range rows {
		lines[r.Line] = true
	}
	if !lines[3] || !lines[5] || len(refused) != 2 || refused[0].Line != 2 || refused[1].Line != 4 {
		t.Errorf("rows %v, refused %v", rows, refused)
	}
	rows, refused = readAll(mustOpen(t, "date in,make,notes\n1997-01-02,Ostrel,\"two\r\nlines\"\n\n1997-01-05,Quillane,\n", Mapping{}))
	if len(rows) != 2 || len(refused) != 0 || rows[0].Notes != "two\nlines" || rows[1].Line != 5 || rows[1].Number != 4 {
		t.Errorf("rows %+v, refused %v", rows, refused)
	}
}

func TestTheSeparatorIsTheOneThatCutsRowsAlike(t *testing.T) {
	for _, c := range []struct {
		data string
		want byte
	}{
		{"a,b,c\n1,2,3\n", ','},
		{"a;b;c\n1,5;2,5;3,5\n1,5;2,5;\"a;b\"\n", ';'},
		{"a\tb\n1, or 2\t3\n4\t5, 6, 7\n", '\t'},
		{"a|b|c\n1|2,2|3\n", '|'},
		{"one column\n", ','},
		{"name;address, city\nx;y, z\n", ';'},
	} {
		if got := guessSeparator([]byte(c.data)); got != c.want {
			t.Errorf("%q: %q, want %q", c.data, got, c.want)
		}
	}
}

func FuzzOpen(f *testing.F) {
	f.Add([]byte(plainBook))
	f.Add([]byte("date in,make,charge,AM mV\n1/2/97,\"Ostrel\"\"\",$5,3\n\"\n"))
	f.Add([]byte(utf16Bytes(plainBook, true)))
	f.Add([]byte("title\n\ndate;make;yr\n1.2.97;=Ostrel;'67\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<16 {
			return
		}
		if b, err := OpenORDS(data); err == nil {
			for range b.Rows() {
			}
		}
		b, err := Open(data, Options{AsOf: asOf})
		if err != nil {
			return
		}
		lines := bytes.Count(b.content.data, []byte{'\n'}) + 1
		n := 0
		for row, refused := range b.Rows() {
			n++
			if refused == nil && (!row.Received.valid() || asOf.Before(row.Received) || row.Maker+row.Model+row.Serial == "") {
				t.Errorf("row taken: %+v", row)
			}
			if refused != nil && refused.Why == "" {
				t.Error("refused without a reason")
			}
		}
		if n > lines {
			t.Errorf("%d records of %d lines", n, lines)
		}
		again, err := ReadMapping(strings.NewReader(b.Mapping.String()))
		if err != nil {
			t.Fatalf("its own mapping: %v\n%s", err, b.Mapping)
		}
		if _, err := Open(data, Options{AsOf: asOf, Mapping: again}); err != nil {
			t.Errorf("with its own mapping: %v\n%s", err, b.Mapping)
		}
	})
}
