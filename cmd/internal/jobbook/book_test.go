package jobbook

import (
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"oldhand/events/sharedtest"
)

// asOf is the day on which the books of these tests are read.
var asOf = Day{2026, 11, 25}

func mustOpen(t testing.TB, data string, m Mapping) *Book {
	t.Helper()
	b, err := Open([]byte(data), Options{AsOf: asOf, Mapping: m})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// readAll gives all rows and all refusals of a book.
func readAll(b *Book) (rows []Row, refused []Refused) {
	for row, r := range b.Rows() {
		if r != nil {
			refused = append(refused, *r)
			continue
		}
		rows = append(rows, row)
	}
	return rows, refused
}

// truth is what really happened in the old job book, made beside the project
// (jobbook/old-job-book.truth.json).
type truth struct {
	Rows     int `json:"rows"`
	GoodRows int `json:"good_rows"`
	Spoiled  []struct {
		Job int    `json:"job"`
		Why string `json:"why"`
	} `json:"spoiled"`
	RepeatedJob     int            `json:"repeated_job"`
	VisitsOpen      int            `json:"visits_open"`
	ReceivedPerYear map[string]int `json:"received_per_year"`
}

func oldJobBook(t testing.TB) (*Book, truth) {
	t.Helper()
	data, err := os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.csv"))
	if err != nil {
		t.Fatal(err)
	}
	said, err := os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var want truth
	if err := json.Unmarshal(said, &want); err != nil {
		t.Fatal(err)
	}
	return mustOpen(t, string(data), Mapping{}), want
}

func TestTheOldJobBookComesOutAsItReallyHappened(t *testing.T) {
	b, want := oldJobBook(t)
	rows, refused := readAll(b)
	if n := len(rows) + len(refused); n != want.Rows {
		t.Errorf("%d records, want %d", n, want.Rows)
	}
	perYear, open, good := map[string]int{}, 0, 0
	for _, row := range rows {
		if row.Repeats != 0 {
			if row.Job != strconv.Itoa(want.RepeatedJob) {
				t.Errorf("job %s is said to repeat row %d", row.Job, row.Repeats)
			}
			if first := rows[row.Repeats-2]; first.Job != row.Job || first.Key != row.Key {
				t.Errorf("job %s is said to repeat job %s", row.Job, first.Job)
			}
			continue
		}
		good++
		perYear[strconv.Itoa(row.Received.Year)]++
		if row.Shipped.IsZero() {
			open++
		}
		if len(row.Warnings) != 0 {
			t.Errorf("job %s: %v", row.Job, row.Warnings)
		}
	}
	if good != want.GoodRows || open != want.VisitsOpen {
		t.Errorf("%d good rows and %d without a date out, want %d and %d", good, open, want.GoodRows, want.VisitsOpen)
	}
	if d := cmp.Diff(want.ReceivedPerYear, perYear); d != "" {
		t.Errorf("received per year: %s", d)
	}
	if len(refused) != len(want.Spoiled) {
		t.Fatalf("refused %v, want %v", refused, want.Spoiled)
	}
	for i, r := range refused {
		if w := want.Spoiled[i]; r.Job != strconv.Itoa(w.Job) || !strings.HasPrefix(r.Why, w.Why) {
			t.Errorf("refused %v, want job %d: %s", r, w.Job, w.Why)
		}
	}
}

// The columns, as somebody who reads the book's headings takes them, and its
// dates, which a US shop wrote month first (1/21/97 stands in row 2).
func TestTheOldJobBookIsMappedWithoutHelp(t *testing.T) {
	b, _ := oldJobBook(t)
	m := b.Mapping
	if m.Encoding != UTF8 || m.Separator != ',' || m.Dates != MonthFirst || m.Decimal != "." || m.Currency != "USD" || m.HeadingRow != 1 {
		t.Errorf("mapping: %s", m)
	}
	want := map[Field]string{Job: "Job", Received: "Date in", Shipped: "Date out", Customer: "Customer", City: "City", Maker: "Make", Model: "Model",
		Serial: "Ser#", Year: "Yr", Complaint: "Complaint", Found: "Found", PartsUsed: "Parts used", Charged: "Charge", Notes: "Notes"}
	for _, h := range headings {
		if m.Columns[h.field] != want[h.field] {
			t.Errorf("%s is read from %q, want %q", h.field, m.Columns[h.field], want[h.field])
		}
	}
	if d := cmp.Diff([]ReadingColumn{{"AM mV", "AM", "mV", ""}, {"FM mV", "FM", "mV", ""}}, m.Readings); d != "" {
		t.Error(d)
	}
	if len(b.Unused) != 0 || b.Evidence.DayFirst != 0 || b.Evidence.MonthFirst == 0 {
		t.Errorf("unused %v, evidence %+v", b.Unused, b.Evidence)
	}
}

// The first rows, read by eye from the file.
func TestRowsOfTheOldJobBookAreReadWhole(t *testing.T) {
	b, _ := oldJobBook(t)
	seen := b.Preview(3)
	if len(seen) != 3 {
		t.Fatalf("%d rows shown", len(seen))
	}
	r := seen[0].Row
	got := fmt.Sprint(r.Number, r.Line, r.Job, r.Received, r.Shipped, r.Customer, r.City, r.Maker, r.Model, r.Serial, r.YearFrom, r.YearTo, r.Complaint,
		len(r.Findings), r.Findings[1].Designators, r.Parts, r.Readings, r.Charge, r.Notes)
	want := "2 2 1000 1997-01-07 1997-01-21 Nora Dunmore Tolland Ridge Corvane MS-40 E17-17750 1964 1964 check over" +
		"2 [C14] [{C27 capacitor 47 MMF C27 47 MMF}] [{AM AM mV 93 mV } {FM FM mV 87 mV }] {$359.00 true 35900 USD} rush"
	if squeeze(got) != squeeze(want) {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if seen[1].Row.YearText != "" || seen[1].Row.YearFrom != 0 || seen[2].Row.Maker != "CORVANE" || len(seen[2].Row.Parts) != 3 || len(seen[2].Row.Readings) != 0 {
		t.Errorf("rows 3 and 4: %+v", seen[1:])
	}
}

func squeeze(s string) string { return strings.Join(strings.Fields(s), "") }

// Every year of the book is 1967, '67 or blank, and a blank is no year
// (jobbook/README.md).
func TestYearsMadeOfTheOldJobBookAreReadInEachSpelling(t *testing.T) {
	b, _ := oldJobBook(t)
	spelt := map[string]int{}
	for row := range b.Rows() {
		switch {
		case row.Number == 0:
		case row.YearText == "" && row.YearFrom == 0:
			spelt["blank"]++
		case strings.HasPrefix(row.YearText, "'") && fmt.Sprintf("'%02d", row.YearFrom%100) == row.YearText && row.YearFrom/100 == 19:
			spelt["short"]++
		case row.YearText == strconv.Itoa(row.YearFrom) && row.YearTo == row.YearFrom:
			spelt["long"]++
		default:
			t.Errorf("job %s: year %q came out as %d to %d", row.Job, row.YearText, row.YearFrom, row.YearTo)
		}
	}
	if spelt["blank"]+spelt["short"]+spelt["long"] != 1142 || spelt["blank"] == 0 || spelt["short"] == 0 {
		t.Errorf("spellings %v", spelt)
	}
}

func TestCountsTellWhatStayedText(t *testing.T) {
	b, _ := oldJobBook(t)
	c := b.Counts()
	if c.Rows != 1141 || c.Repeats != 1 || c.Refused != 3 || c.Findings == 0 || c.Matched != c.Findings || len(c.Stayed) != 0 || c.Uncharged != 0 {
		t.Errorf("counts: %+v", c)
	}
	small := mustOpen(t, "date in,make,found,charge\n1997-01-02,Ostrel,hums; hums; Q8 shorted; C4,$5\n1997-01-02,Ostrel,sings,later\n", Mapping{}).Counts()
	want := Counts{Rows: 2, Findings: 5, Matched: 1, Partly: 1, Stayed: []TextCount{{"hums", 2}, {"sings", 1}}, Charges: map[string]int64{"USD": 500}, Uncharged: 1, Warnings: 1}
	if d := cmp.Diff(want, small, cmp.AllowUnexported(Counts{})); d != "" {
		t.Error(d)
	}
}

// The sum of the column, made from the file by counting cents apart from the
// project: the two have to be equal to the cent.
func TestChargesOfTheOldJobBookSumToTheCent(t *testing.T) {
	b, _ := oldJobBook(t)
	var sum int64
	for _, row := range sharedtest.Rows(t, "jobbook/old-job-book.csv") {
		cents, err := strconv.ParseInt(strings.NewReplacer("$", "", ".", "").Replace("0"+row["Charge"]), 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		switch row["Job"] {
		case "2141", "2142", "2143": // refused
			cents = 0
		}
		sum += cents
	}
	for row := range b.Rows() { // the file's sum has the repeated row twice
		if row.Repeats != 0 {
			sum -= row.Charge.Minor
		}
	}
	if got := b.Counts().Charges; len(got) != 1 || got["USD"] != sum {
		t.Errorf("charges %v, want %d cents", got, sum)
	}
}
