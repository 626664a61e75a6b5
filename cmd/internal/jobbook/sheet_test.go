package jobbook

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"oldhand/cmd/internal/workbook"
	"oldhand/events/sharedtest"
)

// workbookOf gives the bytes of a workbook of these sheets, each rows of cells.
func workbookOf(t testing.TB, sheets map[string][][]any, and func(*excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	if and != nil {
		and(f)
	}
	names := []string{}
	for name := range sheets {
		names = append(names, name)
	}
	slices.Sort(names)
	for i, name := range names {
		if i == 0 {
			do(t, f.SetSheetName("Sheet1", name))
		} else if _, err := f.NewSheet(name); err != nil {
			t.Fatal(err)
		}
		for n, row := range sheets[name] {
			at, err := excelize.CoordinatesToCellName(1, n+1)
			do(t, err)
			do(t, f.SetSheetRow(name, at, &row))
		}
	}
	b, err := f.WriteToBuffer()
	do(t, err)
	return b.Bytes()
}

func do(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// sharedBook is the old job book of the reference files, as its CSV has it.
func sharedBook(t testing.TB) (data []byte, cells [][]string) {
	t.Helper()
	data, err := os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.csv"))
	do(t, err)
	cells, err = csv.NewReader(bytes.NewReader(data)).ReadAll()
	do(t, err)
	return data, cells
}

// realDate reads the spellings of the reference book (its README) apart from the
// project: with the standard library, month first.
func realDate(s string) (time.Time, bool) {
	for _, layout := range []string{"1/2/06", "01/02/2006", "1/2/2006", "2006-01-02", "02 Jan 2006", "2 Jan 2006"} {
		if d, err := time.Parse(layout, s); err == nil {
			return d, true
		}
	}
	return time.Time{}, false
}

// asTyped gives the book's cells as a spreadsheet keeps what somebody types: dates as
// days, whole numbers as numbers.
func asTyped(cells [][]string) (rows [][]any) {
	for n, line := range cells {
		row := make([]any, len(line))
		for i, cell := range line {
			row[i] = cell
			if n == 0 {
				continue
			}
			if d, ok := realDate(cell); ok && (i == 1 || i == 2) {
				row[i] = d
			} else if v, err := strconv.Atoi(cell); err == nil && i != 7 && cell == strconv.Itoa(v) {
				row[i] = v
			} else if cell == "" {
				row[i] = nil
			}
		}
		rows = append(rows, row)
	}
	return rows
}

func asText(cells [][]string) (rows [][]any) {
	for _, line := range cells {
		row := make([]any, len(line))
		for i, cell := range line {
			row[i] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

// The reference book comes out of a workbook as it comes out of its CSV, and as it
// really happened: with its dates as text and as days of either count.
func TestTheOldJobBookIsTheSameInAWorkbook(t *testing.T) {
	data, cells := sharedBook(t)
	csvRows, csvRefused := readAll(mustOpen(t, string(data), Mapping{}))
	_, want := oldJobBook(t)
	for name, c := range map[string]struct {
		rows    [][]any
		and     func(*excelize.File)
		sameKey bool
	}{
		"dates as text":         {asText(cells), nil, true},
		"dates as days of 1900": {asTyped(cells), nil, false},
		"dates as days of 1904": {asTyped(cells), func(f *excelize.File) {
			yes := true
			do(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}))
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := mustOpen(t, string(workbookOf(t, map[string][][]any{"Book": c.rows}, c.and)), Mapping{})
			rows, refused := readAll(b)
			if len(rows) != len(csvRows) || len(rows)+len(refused) != want.Rows || b.Mapping.Sheet != "Book" {
				t.Fatalf("%d rows and %d refused, want %d and %d in all; sheet %q", len(rows), len(refused), len(csvRows), want.Rows, b.Mapping.Sheet)
			}
			good, perYear := 0, map[string]int{}
			for i, row := range rows {
				is := csvRows[i]
				if (row.Key == is.Key) != c.sameKey && is.Repeats == 0 && c.sameKey {
					t.Fatalf("row %d: another key than in the CSV", row.Number)
				}
				row.Key, is.Line = is.Key, row.Line
				if d := cmp.Diff(is, row); d != "" {
					t.Fatalf("row %d (-csv, +workbook): %s", row.Number, d)
				}
				if row.Repeats == 0 {
					good++
					perYear[strconv.Itoa(row.Received.Year)]++
				}
			}
			if good != want.GoodRows {
				t.Errorf("%d good rows, want %d", good, want.GoodRows)
			}
			if d := cmp.Diff(want.ReceivedPerYear, perYear); d != "" {
				t.Error(d)
			}
			for i, r := range refused {
				if w := csvRefused[i]; r.Row != w.Row || r.Job != w.Job || !strings.HasPrefix(r.Why, want.Spoiled[i].Why) {
					t.Errorf("refused %v, in the CSV %v", r, w)
				}
			}
			if again := b.Mapping.String(); strings.Contains(again, "encoding") || strings.Contains(again, "separator") || !strings.Contains(again, `sheet = "Book"`) {
				t.Error(again)
			}
			m, err := ReadMapping(strings.NewReader(b.Mapping.String()))
			if err != nil || m.Sheet != "Book" {
				t.Errorf("mapping read back: %q, %v", m.Sheet, err)
			}
		})
	}
}

var headRow = []any{"Job", "Date in", "Make", "Model", "Ser#", "Charge", "Notes"}

func TestTheSheetThatIsMeantIsFoundOrAskedFor(t *testing.T) {
	book := [][]any{headRow, {1, "1997-01-30", "Ostrel", "R-950", "E17-1", "$5.00", ""}}
	other := [][]any{{"What", "Price"}, {"tape", 3}}
	hidden := workbookOf(t, map[string][][]any{"b": book, "z": other}, nil)
	f, err := excelize.OpenReader(bytes.NewReader(hidden))
	do(t, err)
	defer f.Close()
	f.SetActiveSheet(1)
	do(t, f.SetSheetVisible("b", false))
	out, err := f.WriteToBuffer()
	do(t, err)
	hidden = out.Bytes()
	for name, c := range map[string]struct {
		data  []byte
		sheet string // asked for
		want  string
		err   string
	}{
		"one of two is a book":    {workbookOf(t, map[string][][]any{"a drawer": other, "jobs": book}, nil), "", "jobs", ""},
		"two are":                 {workbookOf(t, map[string][][]any{"1997": book, "1998": book, "drawer": other}, nil), "", "", "name the one that is meant: 1997, 1998"},
		"two are, one is named":   {workbookOf(t, map[string][][]any{"1997": book, "1998": book}, nil), "1998", "1998", ""},
		"one is named wrongly":    {workbookOf(t, map[string][][]any{"1997": book, "1998": book}, nil), "1999", "", `sheet "1999" is not in the workbook; it has: 1997, 1998`},
		"the hidden one is":       {hidden, "", "", "no column is known as the date in"},
		"the hidden one is named": {hidden, "b", "b", ""},
		"none has anything in it": {workbookOf(t, map[string][][]any{"b": {}}, nil), "", "", "empty"},
	} {
		b, err := Open(c.data, Options{AsOf: asOf, Mapping: Mapping{Sheet: c.sheet}})
		switch {
		case c.err != "":
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%s: %v, want %s", name, err, c.err)
			}
		case err != nil || b.Mapping.Sheet != c.want || b.Counts().Rows != 1:
			t.Errorf("%s: %v, %+v", name, err, b)
		}
	}
}

// What goes wrong with numbers and merged cells when books are kept as workbooks.
// Common practice, no source.
func TestTheTrapsOfAWorkbook(t *testing.T) {
	code := "000000"
	data := workbookOf(t, map[string][][]any{"Sheet1": {
		{"Lantern Street Radio, jobs"},
		{"Job", "Date in", "Make", "Model", "Ser#", "Charge", "Readings", nil},
		{nil, nil, nil, nil, nil, nil, "AM mV", "FM mV"},
		{1, "1/21/97", "Ostrel", 2210, 4711, 359, 12, 34},
		{2, time.Date(1997, 2, 4, 9, 30, 0, 0, time.UTC), "Ostrel", "R-950", 12345678901234567, 94.5, nil, 3},
		{3, 35461, "Ostrel", "R-950", "0042", "$12.00", nil, nil},
		{4, "2/5/97", "Corvane", "MS-44", "F90-1", 50, nil, nil},
		{5, "2/6/97", "Corvane", "MS-44", "F90-2", nil, nil, nil},
		{6, "2/7/97", "Corvane", "MS-44", "F90-3", "hums, buzzes\n\"and\" sings", nil, nil},
		{},
		{nil, nil, nil, nil, nil, nil, nil, nil, " "},
	}}, nil)
	f, err := excelize.OpenReader(bytes.NewReader(data))
	do(t, err)
	defer f.Close()
	padded, err := f.NewStyle(&excelize.Style{CustomNumFmt: &code})
	do(t, err)
	do(t, f.SetCellStyle("Sheet1", "E4", "E4", padded))
	for _, area := range [][2]string{{"A1", "H1"}, {"A2", "A3"}, {"B2", "B3"}, {"C2", "C3"}, {"D2", "D3"}, {"E2", "E3"}, {"F2", "F3"}, {"G2", "H2"}, {"F7", "F8"}, {"G9", "G11"}} {
		do(t, f.MergeCell("Sheet1", area[0], area[1]))
	}
	out, err := f.WriteToBuffer()
	do(t, err)

	b := mustOpen(t, out.String(), Mapping{})
	if b.Mapping.HeadingRow != 3 || len(b.Mapping.Readings) != 2 || b.Mapping.Columns[Serial] != "Ser#" {
		t.Fatalf("mapping: %s", b.Mapping)
	}
	rows, refused := readAll(b)
	if len(rows) != 3 || len(refused) != 3 {
		t.Fatalf("%d rows, refused %v", len(rows), refused)
	}
	first := rows[0]
	if first.Number != 4 || first.Received != (Day{1997, 1, 21}) || first.Serial != "004711" || first.Model != "2210" || first.Charge.Minor != 35900 || len(first.Readings) != 2 || len(first.Warnings) != 0 {
		t.Errorf("row 4: %+v", first)
	}
	long := rows[1]
	if long.Received != (Day{1997, 2, 4}) || long.Serial != "12345678901234567" || long.Charge.Minor != 9450 || len(long.Warnings) != 1 || !strings.Contains(long.Warnings[0], "fifteen figures") {
		t.Errorf("row 5: %+v", long)
	}
	if last := rows[2]; last.Number != 9 || last.Job != "6" || last.Charge.Text != "hums, buzzes\n\"and\" sings" {
		t.Errorf("row 9: %+v", last)
	}
	for i, want := range []string{"row 6 (job 3): date in cannot be read: 35461", "row 7 (job 4): rows 7 to 8 share cells that are merged", "row 8 (job 5): rows 7 to 8 share"} {
		if !strings.HasPrefix(refused[i].String(), want) {
			t.Errorf("refused %q, want %q", refused[i], want)
		}
	}

	// A day number that has no format of a date is one where the mapping says so, from
	// the day that the workbook counts from.
	for from1904, want := range map[bool]Day{false: {1997, 1, 31}, true: {2001, 2, 1}} {
		data := workbookOf(t, map[string][][]any{"jobs": {headRow, {3, 35461, "Ostrel", "R-950", "0042", 5, ""}}}, func(f *excelize.File) {
			do(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &from1904}))
		})
		rows, refused := readAll(mustOpen(t, string(data), Mapping{DayNumbers: "yes"}))
		if len(rows) != 1 || rows[0].Received != want {
			t.Errorf("day 35461 (1904: %v): %v %v, want %v", from1904, rows, refused, want)
		}
	}
}

func TestDatesThatMayHaveBeenTurnedRoundAreDoubted(t *testing.T) {
	rows := [][]any{headRow}
	for i := range 6 {
		rows = append(rows, []any{i, time.Date(1997, time.Month(i+1), 3, 0, 0, 0, 0, time.UTC), "Ostrel", "R-950", "E1", 5, ""},
			[]any{10 + i, strconv.Itoa(20+i) + "/3/97", "Ostrel", "R-950", "E2", 5, ""})
	}
	if b := mustOpen(t, string(workbookOf(t, map[string][][]any{"jobs": rows}, nil)), Mapping{}); !strings.Contains(b.Doubt, "all 6 real dates") {
		t.Errorf("doubt %q", b.Doubt)
	}
	rows = append(rows, []any{99, time.Date(1997, 1, 30, 0, 0, 0, 0, time.UTC), "Ostrel", "R-950", "E3", 5, ""})
	if b := mustOpen(t, string(workbookOf(t, map[string][][]any{"jobs": rows}, nil)), Mapping{}); b.Doubt != "" {
		t.Errorf("doubt %q though one lies after the twelfth", b.Doubt)
	}
}

func TestFilesThatAreNoBookSayWhatTheyAre(t *testing.T) {
	for _, c := range []struct {
		data string
		want error
	}{
		{"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1" + strings.Repeat("\x00", 600), workbook.ErrOldFormat},
		{"PK\x05\x06" + strings.Repeat("\x00", 18), nil},
	} {
		if _, err := Open([]byte(c.data), Options{AsOf: asOf}); err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%v, want %v", err, c.want)
		}
	}
}
