package jobbook

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

func TestEachSpellingOfADateIsRead(t *testing.T) {
	feb9, jan30 := Day{1997, 2, 9}, Day{1997, 1, 30}
	for _, c := range []struct {
		text  string
		order Order
		want  Day
	}{
		{"1997-01-30", "", jan30}, {"1997/1/30", "", jan30}, {"1997.01.30", "", jan30}, {"19970130", "", jan30},
		{"1/30/97", "", jan30}, {"30/1/97", "", jan30}, {"30.01.1997", "", jan30}, {"30. 1. 1997", "", jan30}, {"1-30-1997", "", jan30}, {"01/30/1997", "", jan30},
		{"09 Feb 1997", "", feb9}, {"9-Feb-97", "", feb9}, {"9 February 1997", "", feb9}, {"Feb 9 1997", "", feb9}, {"Feb 9, 1997", "", feb9},
		{"FEBRUARY 9th, 1997", "", feb9}, {"9 Feb '97", "", feb9}, {"Sun, 9 Feb 1997", "", feb9}, {"1997 Feb 9", "", feb9}, {"9.Feb.97", "", feb9}, {"9Feb97", "", feb9},
		{"9. Februar 1997", "", feb9}, {"9. März 1997", "", Day{1997, 3, 9}}, {"9. Okt. 1997", "", Day{1997, 10, 9}}, {"9 Dez 97", "", Day{1997, 12, 9}},
		{"1997-01-30 00:00:00", "", jan30}, {"1/30/97 2:05 PM", "", jan30}, {"1997-01-30T10:00:00Z", "", jan30},
		{"2/9/97", MonthFirst, feb9}, {"9/2/97", DayFirst, feb9}, {"9.2.1997", DayFirst, feb9}, {"3/3/97", "", Day{1997, 3, 3}},
		{"2/29/2000", "", Day{2000, 2, 29}}, {"11/25/26", "", Day{2026, 11, 25}}, {"11/26/26", "", Day{1926, 11, 26}}, {"1 Jan 00", "", Day{2000, 1, 1}},
	} {
		got, err := dating{order: c.order, asOf: asOf}.read(c.text)
		if err != nil || got != c.want {
			t.Errorf("%q: %v %v, want %v", c.text, got, err, c.want)
		}
	}
}

func TestWhatIsNoDateIsRefused(t *testing.T) {
	for _, text := range []string{"13/45/99", "2/30/97", "31.02.1998", "2/29/1999", "2/29/1900", "0/1/97", "1/0/97", "97", "1997", "Feb 1997", "1/97", "1/2/3/97", "1/2/997",
		"soon", "9 Fxb 1997", "Feb Mar 1997", "9 9 Feb 1997", "35460", "19971330", "970130", "1-2/97", "1/2/1797", "30 Feb 1997", "x", "1997-01", "1997-1-123", "9 Feb 19977"} {
		if d, err := (dating{order: MonthFirst, asOf: asOf}).read(text); err == nil {
			t.Errorf("%q was read as %v", text, d)
		}
	}
	if _, err := (dating{order: MonthFirst, asOf: asOf}).read("21/1/97"); err == nil {
		t.Error("a day first was read where the month is said to come first")
	}
}

// Dates printed by the standard library in its layouts.
func TestDatesPrintedByTheStandardLibraryAreReadBack(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	layouts := map[string]Order{"2006-01-02": "", "1/2/06": MonthFirst, "01/02/2006": MonthFirst, "02 Jan 2006": "", "Jan 2, 2006": "", "2-Jan-06": "", "2.1.2006": DayFirst,
		"2/1/06": DayFirst, "20060102": "", "Monday, January 2, 2006": "", "2006-01-02 15:04:05": "", "02.01.2006": DayFirst}
	for range 3000 {
		day := time.Date(1960, 1, 1+rnd.IntN(24000), rnd.IntN(24), 3, 0, 0, time.UTC)
		for layout, order := range layouts {
			text := day.Format(layout)
			want := DayOf(day)
			if got, err := (dating{order: order, asOf: asOf}).read(text); err != nil || got != want {
				t.Fatalf("%q: %v %v, want %v", text, got, err, want)
			}
		}
	}
}

// 25569 is 1 January 1970 and 36526 is 1 January 2000 in the 1900 system of
// spreadsheets (from memory; 25569 is the well-known distance to Unix time).
func TestDayNumbersAreReadOnlyWhereTheMappingSaysSo(t *testing.T) {
	for n, want := range map[string]Day{"25569": {1970, 1, 1}, "36526": {2000, 1, 1}} {
		if got, err := (dating{dayNumbers: true, asOf: asOf}).read(n); err != nil || got != want {
			t.Errorf("%s: %v %v, want %v", n, got, err, want)
		}
		if got, err := (dating{asOf: asOf}).read(n); err == nil {
			t.Errorf("%s was read as %v though nothing says that it is a day number", n, got)
		}
	}
	rows, _ := readAll(mustOpen(t, "date in,make\n36526,Ostrel\n", Mapping{DayNumbers: "yes"}))
	if len(rows) != 1 || rows[0].Received != (Day{2000, 1, 1}) {
		t.Errorf("%+v", rows)
	}
}

func datesOf(b *Book) (days, whys []string) {
	for row, r := range b.Rows() {
		if r != nil {
			whys = append(whys, r.Why)
		} else {
			days = append(days, row.Received.String())
		}
	}
	return days, whys
}

func TestWhereNoDateTellsTheOrderNoneIsGuessed(t *testing.T) {
	data := "date in,date out,make\n01/02/1997,,Ostrel\n1997-03-04,,Ostrel\n5 Mar 1997,,Ostrel\n3/3/97,,Ostrel\n1997-03-04,4/5/97,Ostrel\n"
	b := mustOpen(t, data, Mapping{})
	days, whys := datesOf(b)
	if strings.Join(days, " ") != "1997-03-04 1997-03-05 1997-03-03" {
		t.Errorf("read %v", days)
	}
	if strings.Join(whys, "|") != "date in: day and month can't be told apart: 01/02/1997|date out: day and month can't be told apart: 4/5/97" {
		t.Errorf("refused %v", whys)
	}
	if b.Mapping.Dates != OrderUnknown || b.Evidence.Either != 2 || b.Evidence.String() != "none of 2 dates tells whether its month or its day comes first" {
		t.Errorf("%q, %+v", b.Mapping.Dates, b.Evidence)
	}
	for order, want := range map[Order]string{MonthFirst: "1997-01-02", DayFirst: "1997-02-01"} {
		if days, whys := datesOf(mustOpen(t, data, Mapping{Dates: order})); len(whys) != 0 || days[0] != want {
			t.Errorf("%s: %v %v", order, days, whys)
		}
	}
}

func TestDatesThatContradictEachOtherAreNotSettledByNumbers(t *testing.T) {
	data := "date in,make\n" + strings.Repeat("1/21/97,Ostrel\n", 50) + "21.1.97,Ostrel\n1/2/97,Ostrel\n13/45/99,Ostrel\n"
	b := mustOpen(t, data, Mapping{})
	days, whys := datesOf(b)
	if len(days) != 51 || strings.Join(whys, "|") != "date in: day and month can't be told apart: 1/2/97|date in cannot be read: 13/45/99" {
		t.Errorf("read %d, refused %v", len(days), whys)
	}
	want := "the dates contradict each other: 50 prove month first (row 2: 1/21/97), 1 prove day first (row 52: 21.1.97)"
	if b.Mapping.Dates != OrderUnknown || b.Evidence.String() != want {
		t.Errorf("evidence: %s", b.Evidence)
	}
	days, whys = datesOf(mustOpen(t, data, Mapping{Dates: MonthFirst}))
	if len(days) != 51 || whys[0] != "date in cannot be read: 21.1.97" {
		t.Errorf("read %d, refused %v", len(days), whys)
	}
}

func TestOneDateThatProvesTheOrderSettlesBothColumns(t *testing.T) {
	days, whys := datesOf(mustOpen(t, "date in,date out,make\n1/2/97,3/2/97,Ostrel\n5/6/97,25/6/97,Ostrel\n", Mapping{}))
	if strings.Join(days, " ") != "1997-02-01 1997-06-05" || len(whys) != 0 {
		t.Errorf("%v %v", days, whys)
	}
}

func TestEachRefusalNamesItsCell(t *testing.T) {
	for _, c := range []struct{ row, why string }{
		{",,Ostrel,2210,1", "date in is missing"},
		{"-,,Ostrel,2210,1", "date in is missing"},
		{"13/45/99,,Ostrel,2210,1", "date in cannot be read: 13/45/99"},
		{"1997-01-02,soon,Ostrel,2210,1", "date out cannot be read: soon"},
		{"1997-01-02,,, ,", "no maker, model or serial"},
		{"2014-09-21,1/21/97,Ostrel,2210,1", "out before in: in 2014-09-21, out 1997-01-21"},
		{"2026-11-26,,Ostrel,2210,1", "date in is later than 2026-11-25: 2026-11-26"},
		{"2026-11-20,2026-11-26,Ostrel,2210,1", "date out is later than 2026-11-25: 2026-11-26"},
		{"1997-01-02,,Ostrel,2210,1,extra", "has 6 cells where the heading has 5"},
		{"1997-01-02,,12\" Ostrel,2210,1", "a quote stands inside a cell that does not begin with one"},
	} {
		rows, refused := readAll(mustOpen(t, "date in,date out,make,model,serial\n"+c.row+"\n1997-01-02,1/21/97,Ostrel,,\n", Mapping{}))
		if len(rows) != 1 || len(refused) != 1 || refused[0].Why != c.why || refused[0].Row != 2 || refused[0].Line != 2 {
			t.Errorf("%q: rows %+v, refused %v, want %q", c.row, rows, refused, c.why)
		}
	}
	rows, _ := readAll(mustOpen(t, "date in,make,model,notes\n1997-01-02,Ostrel\n1997-01-02,Ostrel,,,,\n", Mapping{}))
	if len(rows) != 2 || len(rows[0].Warnings) != 1 || len(rows[1].Warnings) != 0 || rows[1].Repeats != 2 {
		t.Errorf("%+v", rows)
	}
}
