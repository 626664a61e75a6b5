package jobbook

import (
	"bytes"
	"encoding/csv"
	"iter"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"oldhand/events/sharedtest"
)

// realRepairs is the file Repair Connects of the Open Repair Alliance, release
// 2025-07, CC BY-SA 4.0.
const realRepairs = "checkdata/open-repair/repair-connects-202507.csv"

func standards(b *StandardBook) iter.Seq[Standard] {
	return func(yield func(Standard) bool) {
		for row, refused := range b.Rows() {
			if refused == nil && !yield(row.Standard) {
				return
			}
		}
	}
}

// The real file has 2,885 repairs, 1,118 with a year of manufacture, 93 of them
// before 1985 (its README); the standard library's CSV reader is the oracle for
// each cell.
func TestRealRepairDataIsWrittenBackEqual(t *testing.T) {
	data, err := os.ReadFile(sharedtest.Path(t, realRepairs))
	if err != nil {
		t.Fatal(err)
	}
	b, err := OpenORDS(data)
	if err != nil {
		t.Fatal(err)
	}
	want, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	n, years, old := 0, 0, 0
	for row, refused := range b.Rows() {
		n++
		if refused != nil {
			t.Fatal(refused)
		}
		if row.Number != n+1 || row.Repeats != 0 || row.Received.String() != row.Standard.EventDate || row.Shipped != row.Received || row.Maker != strings.TrimSpace(row.Standard.Brand) {
			t.Fatalf("row %d: %+v", n, row)
		}
		if row.YearText != "" {
			years++
		}
		if row.YearFrom > 0 && row.YearFrom < 1985 {
			old++
		}
		for i, col := range standardColumns {
			if got := *col.cell(&row.Standard); got != want[n][i] {
				t.Fatalf("row %d, %s: %q, want %q", n, col.name, got, want[n][i])
			}
		}
	}
	if n != 2885 || years != 1118 || old != 93-implausible(want) {
		t.Errorf("%d rows, %d with a year, %d before 1985", n, years, old)
	}

	var out bytes.Buffer
	if err := WriteORDS(&out, standards(b)); err != nil {
		t.Fatal(err)
	}
	again, err := csv.NewReader(bytes.NewReader(out.Bytes())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, again); d != "" {
		t.Errorf("written back: %s", d)
	}
	back, err := OpenORDS(out.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	first, second := collect(b), collect(back)
	if d := cmp.Diff(first, second); d != "" {
		t.Errorf("read again: %s", d)
	}
}

// implausible counts the years of manufacture before firstSet, which are kept
// as text.
func implausible(rows [][]string) int {
	n := 0
	for _, r := range rows[1:] {
		if r[7] != "" && r[7] < "1915" {
			n++
		}
	}
	return n
}

func collect(b *StandardBook) (out []Standard) {
	for s := range standards(b) {
		out = append(out, s)
	}
	return out
}

// The standard's four statuses, from its README; what they are at a bench is
// common practice, no source.
func TestEachRepairStatusHasItsOutcomeAndIsKept(t *testing.T) {
	head := "id,data_provider,country,partner_product_category,product_category,product_category_id,brand,year_of_manufacture,product_age,repair_status,repair_barrier_if_end_of_life,group_identifier,event_date,problem\n"
	data := head
	for i, status := range []string{"Fixed", "Repairable", "End of life", "Unknown", "fixed"} {
		data += string(rune('a'+i)) + ",Bench,USA,Radio ~ set,Portable radio,23,Ostrel,1967,30," + status + ",,Hill,2021-03-04,\"=hum, \"\"loud\"\" \r\nand \"\n"
	}
	b, err := OpenORDS([]byte(data))
	if err != nil {
		t.Fatal(err)
	}
	var outcomes, texts []string
	for row, refused := range b.Rows() {
		if refused != nil {
			t.Fatal(refused)
		}
		outcomes, texts = append(outcomes, row.OutcomeID), append(texts, row.Outcome)
		if row.KindID != "portable-radio" || row.YearFrom != 1967 || row.Job != row.Standard.ID || (row.OutcomeID == "") != (len(row.Warnings) == 1) {
			t.Errorf("%+v", row)
		}
		if row.Standard.Problem != "=hum, \"loud\" \r\nand " {
			t.Errorf("problem came out as %q", row.Standard.Problem)
		}
	}
	if d := cmp.Diff([]string{"repaired", "returned-unrepaired", "returned-unrepaired", "unknown", ""}, outcomes); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"Fixed", "Repairable", "End of life", "Unknown", "fixed"}, texts); d != "" {
		t.Error(d)
	}
	var out bytes.Buffer
	if err := WriteORDS(&out, standards(b)); err != nil {
		t.Fatal(err)
	}
	back, err := OpenORDS(out.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(collect(b), collect(back)); d != "" {
		t.Error(d)
	}
}

func TestRepairDataThatCannotBeTakenIsRefusedByName(t *testing.T) {
	b, err := OpenORDS([]byte("event_date,id,repair_status,colour\n2021-03-04,a,Fixed,red\n4.3.2021,b,Fixed,\n,c,Fixed,\n2021-03-04,,Fixed,\n2021-02-30,e,Fixed,\n2021-03-04,\"f,Fixed,\n2021-03-04,a,Unknown,x\n2021-03-04,g,Fixed\n"))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"colour"}, b.Unused); d != "" {
		t.Error(d)
	}
	var got []string
	repeats := 0
	for row, refused := range b.Rows() {
		if refused != nil {
			got = append(got, refused.String())
		} else {
			repeats += row.Repeats
		}
	}
	want := []string{"row 3 (job b): event_date cannot be read: 4.3.2021", "row 4 (job c): event_date is missing", "row 5: id is missing",
		"row 6 (job e): event_date cannot be read: 2021-02-30", "row 7: a quote is not closed", "row 9: has 3 cells where the heading has 4"}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if repeats != 2 {
		t.Errorf("the repeated id is said to repeat row %d", repeats)
	}
	for data, why := range map[string]string{"": "empty", "id,repair_status\n": "there is no column event_date", "\"id\n": "can't be read"} {
		if _, err := OpenORDS([]byte(data)); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q: %v", data, err)
		}
	}
}
