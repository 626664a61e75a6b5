package app_test

import (
	"bytes"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/jobbook"
	"oldhand/events/sharedtest"
	"oldhand/projections"

	"github.com/google/go-cmp/cmp"
)

// truth is what really happened in the old job book, by the file that lies
// beside it.
type truth struct {
	Rows     int
	GoodRows int `json:"good_rows"`
	Spoiled  []struct {
		Job int
		Why string
	}
	RepeatedJob              int `json:"repeated_job"`
	Units, Visits            int
	VisitsOpen               int             `json:"visits_open"`
	VisitsWithMistypedSerial int             `json:"visits_with_mistyped_serial"`
	UnitsPerModel            map[string]int  `json:"units_per_model"`
	ReceivedPerYear          map[string]int  `json:"received_per_year"`
	ClosedTurnaroundDays     struct{ N int } `json:"closed_turnaround_days"`
}

func readTruth(t testing.TB) (tr truth) {
	t.Helper()
	b, err := os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &tr); err != nil {
		t.Fatal(err)
	}
	return tr
}

func oldBook(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.csv"))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func importBook(t testing.TB, s *app.Shop, data []byte, o app.ImportOptions) app.Imported {
	t.Helper()
	b, err := jobbook.Open(data, jobbook.Options{AsOf: jobbook.DayOf(asOf)})
	if err != nil {
		t.Fatal(err)
	}
	res, err := s.ImportBook(data, b, o)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// Source of every number: shared/jobbook/old-job-book.truth.json.
func TestTheOldJobBookComesToItsTruth(t *testing.T) {
	tr, s := readTruth(t), newShop(t)
	res := importBook(t, s, oldBook(t), app.ImportOptions{})
	equal(t, "rows", res.Rows, tr.Rows)
	equal(t, "rows taken", res.Taken, tr.Visits)
	equal(t, "rows repeated", res.Repeated, 1)
	equal(t, "visits", res.Visits, tr.Visits)
	equal(t, "units", res.Units, tr.Units+tr.VisitsWithMistypedSerial)
	equal(t, "likely the same", len(res.LikelySame), tr.VisitsWithMistypedSerial)
	equal(t, "rows refused", len(res.Refused), len(tr.Spoiled))
	for i, sp := range tr.Spoiled {
		if r := res.Refused[i]; r.Job != itoa(sp.Job) || !strings.Contains(r.Why, sp.Why) {
			t.Errorf("refused job %s: %s; want job %d: %s", r.Job, r.Why, sp.Job, sp.Why)
		}
	}
	for _, p := range res.LikelySame {
		if _, err := s.Same(p.A.Tag, p.B.Tag, "mistyped", app.Who{}); err != nil {
			t.Fatal(err)
		}
	}
	v := verified(t, s)
	equal(t, "units once joined", v.Units, tr.Units)
	equal(t, "visits once joined", v.Visits, tr.Visits)
	checkModels(t, s, tr)
	checkVisits(t, s, tr)
}

func checkModels(t *testing.T, s *app.Shop, tr truth) {
	t.Helper()
	res, err := s.Ask(app.Asking{Question: "rarity"})
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "models", len(res.Rows), len(tr.UnitsPerModel))
	for _, row := range res.Rows {
		r := row.(projections.RarityRow)
		equal(t, "units of "+r.Maker+" "+r.Model, int(r.Units), tr.UnitsPerModel[r.Maker+" "+r.Model])
	}
}

// checkVisits counts how visits ended and in which years they began. Of the
// truth's open visits, three units were received again later (the README
// beside the truth): those ended on a day nobody wrote down.
func checkVisits(t *testing.T, s *app.Shop, tr truth) {
	t.Helper()
	ends, perYear := map[projections.End]int{}, map[string]int{}
	each(t, s, func(h *projections.History) {
		for _, v := range h.Visits {
			ends[v.End]++
			perYear[v.Received.String()[:4]]++
		}
	})
	equal(t, "visits ended on an unknown day", ends[projections.EndUnknown], 3)
	equal(t, "visits open", ends[projections.Open], tr.VisitsOpen-3)
	equal(t, "visits closed", ends[projections.Ended], tr.ClosedTurnaroundDays.N)
	for year, n := range tr.ReceivedPerYear {
		equal(t, "received in "+year, perYear[year], n)
	}
	today, err := s.Today()
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "units on the benches", len(today.Units), tr.VisitsOpen-3)
}

func TestASecondImportOfTheSameFileAddsNothing(t *testing.T) {
	tr, s := readTruth(t), newShop(t)
	importBook(t, s, oldBook(t), app.ImportOptions{})
	before := verified(t, s)
	again := importBook(t, s, oldBook(t), app.ImportOptions{})
	equal(t, "rows taken again", again.Taken, 0)
	equal(t, "rows here already", again.Repeated, tr.GoodRows+1)
	equal(t, "digest", verified(t, s).Digest, before.Digest)
	// The same rows saved with another separator are the same rows.
	tabs := bytes.ReplaceAll(onlySimpleRows(oldBook(t)), []byte(","), []byte("\t"))
	equal(t, "rows taken of the file saved with tabs",
		importBook(t, s, tabs, app.ImportOptions{}).Taken, 0)
}

// onlySimpleRows keeps the heading and the rows without quotes, in which a
// comma can be made a tab blindly.
func onlySimpleRows(data []byte) []byte {
	var kept [][]byte
	for _, line := range bytes.Split(data, []byte("\n")) {
		if !bytes.Contains(line, []byte(`"`)) {
			kept = append(kept, line)
		}
	}
	return bytes.Join(kept, []byte("\n"))
}

func TestADryRunSaysTheSameAndWritesNothing(t *testing.T) {
	s := newShop(t)
	files, before := count(t, s.Dir), verified(t, s)
	dry := importBook(t, s, oldBook(t), app.ImportOptions{DryRun: true})
	equal(t, "digest after the dry run", verified(t, s).Digest, before.Digest)
	equal(t, "files in the folder after it", count(t, s.Dir), files)
	real := importBook(t, s, oldBook(t), app.ImportOptions{})
	if !dry.DryRun || dry.Taken < 300 || len(dry.LikelySame) == 0 {
		t.Errorf("a dry run says so: %v; it took %d rows and found %d likely pairs", dry.DryRun, dry.Taken, len(dry.LikelySame))
	}
	if diff := cmp.Diff(plainly(t, dry), plainly(t, real)); diff != "" {
		t.Errorf("told (-dry +real):\n%s", diff)
	}
}

// plainly is what reading a book in came to, without what differs from one time to the
// next.
func plainly(t *testing.T, res app.Imported) string {
	t.Helper()
	dry := res.DryRun
	res.DryRun = false
	for i := range res.LikelySame {
		for _, l := range []*app.Likely{&res.LikelySame[i].A, &res.LikelySame[i].B} {
			if dry && (l.Unit != "" || l.Tag != "") {
				t.Errorf("a dry run made unit %q with tag %q, for which nobody can ask", l.Unit, l.Tag)
			}
			l.Unit, l.Tag = "", ""
		}
	}
	text, err := json.MarshalIndent(res, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A dry run of a large book takes its time. Others save meanwhile, and what they save is
// there afterwards and nothing else is.
func TestOthersSaveWhileADryRunLasts(t *testing.T) {
	s := newShop(t)
	saved := 0
	dry := importBook(t, s, oldBook(t), app.ImportOptions{DryRun: true, Progress: func(int) {
		saved++
		receive(t, s, "E17-1775"+itoa(saved), "2026-03-02")
	}})
	if saved < 2 || dry.Taken < 300 {
		t.Fatalf("%d saved while %d rows were tried", saved, dry.Taken)
	}
	units := 0
	each(t, s, func(*projections.History) { units++ })
	equal(t, "units in the shop", units, saved)
}

// Findings of the job book are the trade's words: common practice, no source.
func TestFindingsThatNoTableKnowsStayTextAndAreCounted(t *testing.T) {
	s := newShop(t)
	book := "Date in,Make,Model,Serial,Found\n2020-01-02,Ostrel,R-950,A1-00001,filter caps leaky; smells of soup\n"
	res := importBook(t, s, []byte(book), app.ImportOptions{})
	equal(t, "findings", res.Findings, 2)
	if len(res.Unmatched) != 1 || res.Unmatched[0].Text != "smells of soup" {
		t.Fatalf("left as text: %v", res.Unmatched)
	}
	p, err := s.Past("A1-00001", 1)
	if err != nil {
		t.Fatal(err)
	}
	faults := p.Matches[0].Visits[0].Faults
	if faults[0].Component != "filter-capacitor" || faults[0].Mode != "leaky" || faults[1].Text != "smells of soup" || faults[1].Component != "" {
		t.Fatalf("faults: %+v", faults)
	}
}

// Source: shared/checkdata/open-repair, Open Repair Alliance, release 2025-07,
// partner file Repair Connects, CC BY-SA 4.0.
func TestOpenRepairDataComesInAndGoesOutEqual(t *testing.T) {
	s := newShop(t)
	data, err := os.ReadFile(sharedtest.Path(t, "checkdata/open-repair/repair-connects-202507.csv"))
	if err != nil {
		t.Fatal(err)
	}
	b, err := jobbook.OpenORDS(data)
	if err != nil {
		t.Fatal(err)
	}
	res, err := s.ImportORDS(data, b, app.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "rows", res.Rows, 2885)
	equal(t, "visits", res.Visits, 2885)
	equal(t, "units", verified(t, s).Units, 2885)
	var out bytes.Buffer
	if _, err := s.ExportORDS(&out); err != nil {
		t.Fatal(err)
	}
	back, err := jobbook.OpenORDS(out.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "rows written back", standardRows(t, back), standardRows(t, b))
}

// standardRows are the rows of the standard, sorted, as one text.
func standardRows(t *testing.T, b *jobbook.StandardBook) string {
	var rows []string
	for row, refused := range b.Rows() {
		if refused != nil {
			t.Fatal(refused)
		}
		text := ""
		for name, cell := range row.Standard.Cells() {
			text += name + "=" + cell + "\x1f"
		}
		rows = append(rows, text)
	}
	slices.Sort(rows)
	return strings.Join(rows, "\n")
}

func TestAReturnInALaterBookIsTheSameUnit(t *testing.T) {
	s := newShop(t)
	importBook(t, s, []byte("Date in,Date out,Make,Model,Serial\n2020-01-02,2020-01-20,Ostrel,R-950,A1-00001\n"), app.ImportOptions{})
	res := importBook(t, s, []byte("Date in,Make,Model,Serial\n2020-02-02,OSTREL,r950,a1 00001\n"), app.ImportOptions{})
	equal(t, "new units", res.Units, 0)
	p, err := s.Past("A1-00001", 5)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "units found", len(p.Matches), 1)
	equal(t, "visits", len(p.Matches[0].Visits), 2)
}

func each(t testing.TB, s *app.Shop, fn func(*projections.History)) {
	t.Helper()
	v, err := s.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	err = projections.EachHistory(v, func(h *projections.History) (bool, error) {
		fn(h)
		return true, nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func verified(t testing.TB, s *app.Shop) app.Verified {
	t.Helper()
	v, err := s.Verify(nil)
	if err != nil {
		t.Fatal(err)
	}
	if !v.OK {
		t.Fatalf("verify: %s", v.Wrong)
	}
	return v
}

// asOf is the day on which these tests happen.
var asOf = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// Two rows of one job and day are one visit written twice, and the second is refused; a
// row of which nothing was taken keeps no other out. A dry run says the same.
func TestARowThatWasRefusedKeepsNoOtherOut(t *testing.T) {
	s := newShop(t)
	const head = "Date in,Make,Model,Serial,Job\n"
	importBook(t, s, []byte(head+"2020-01-02,Ostrel,R-950,A1-00001,J1\n"), app.ImportOptions{})
	book := []byte(head + "2020-01-02,Ostrel,R-950,A1-00001,J2\n" + // this unit came in on that day as J1
		"2020-01-02,Ostrel,R-950,B2-00002,J2\n" + "2020-01-02,Ostrel,R-950,C3-00003,J2\n")
	for _, dry := range []bool{true, false} {
		res := importBook(t, s, book, app.ImportOptions{DryRun: dry})
		if equal(t, "taken", res.Taken, 1); len(res.Refused) != 2 {
			t.Fatalf("dry run %v: refused %v, want two rows", dry, res.Refused)
		}
		if a, b := res.Refused[0], res.Refused[1]; a.Row != 2 || !strings.Contains(a.Why, "unit 10019 was received") || b.Row != 4 || !strings.Contains(b.Why, "job J2") {
			t.Errorf("dry run %v: refused %v", dry, res.Refused)
		}
	}
}
