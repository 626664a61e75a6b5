package app_test

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/paper/papertest"
	"oldhand/cmd/internal/report"
	"oldhand/events"
)

// inventedShop is a folder of the invented shop.
func inventedShop(t *testing.T) *app.Shop {
	t.Helper()
	story, err := demo.New(demo.Options{Seed: 1, Units: 200})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if _, err := app.FromStory(filepath.Join(dir, "shop"), story, app.Options{State: filepath.Join(dir, "state"), Bulk: true}, nil); err != nil {
		t.Fatal(err)
	}
	s, err := app.Open(filepath.Join(dir, "shop"), options(dir))
	if err != nil {
		t.Fatal(err)
	}
	return untilTheEnd(t, s)
}

// printed is a record's PDF as one run of words.
func printed(t *testing.T, r report.Record) string {
	t.Helper()
	var b bytes.Buffer
	done, err := report.PDF(&b, &r, paper.A4)
	if err != nil {
		t.Fatal(err)
	}
	if done.LeftOut != 0 {
		t.Fatalf("%s: %d entries left out", r.Where(), done.LeftOut)
	}
	sheets, err := papertest.Read(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return papertest.Flow(sheets)
}

// inOrder reports the first of some texts that does not stand behind those before.
func inOrder(all string, texts []string) (missing string, ok bool) {
	for _, text := range texts {
		text = strings.Join(strings.Fields(text), " ")
		_, after, found := strings.Cut(all, text)
		if !found {
			return text, false
		}
		all = after
	}
	return "", true
}

// What is printed of every visit of many units is what past --json tells of it, in
// the order of a record, and the name of no other customer is on it.
func TestARecordOnPaperSaysWhatThePastSays(t *testing.T) {
	s := inventedShop(t)
	names := map[string]bool{}
	var units []app.PastUnit
	for _, maker := range []string{"Pellowick", "Vantreith"} {
		p, err := s.Past(maker, 40)
		if err != nil {
			t.Fatal(err)
		}
		units = append(units, p.Matches...)
	}
	for _, sight := range demo.Sights {
		u, err := s.PastOf(sight.Serial)
		if err != nil {
			continue // a sight that is two units
		}
		units = append(units, u)
	}
	for _, u := range units {
		for _, v := range u.Visits {
			names[v.Customer] = v.Customer != "" && v.Customer != app.NameSealed && v.Customer != app.NameForgotten
		}
	}
	visits, parts, readings := 0, 0, 0
	for _, found := range units {
		for i := range found.Visits {
			told := asJSON(t, found.Visits[i])
			visits, parts, readings = visits+1, parts+len(told.Parts), readings+len(told.Readings)
			r, err := s.ServiceRecord(found.Unit, app.Recording{Visit: i + 1})
			if err != nil {
				t.Fatal(err)
			}
			all := printed(t, r)
			if missing, ok := inOrder(all, onARecord(found, told)); !ok {
				t.Errorf("%s visit %d: %q does not follow on\n%s", found.Tag, i+1, missing, all)
			}
			for name, real := range names {
				if real && strings.Contains(all, name) != (name == told.Customer) && !strings.Contains(told.Customer, name) {
					t.Errorf("%s visit %d of %s: on paper is %s", found.Tag, i+1, told.Customer, name)
				}
			}
		}
	}
	if visits < 60 || parts < 20 || readings < 40 {
		t.Fatalf("only %d visits with %d parts and %d readings were looked at", visits, parts, readings)
	}
}

// asJSON is a visit as the command prints it.
func asJSON(t *testing.T, v app.PastVisit) (told app.PastVisit) {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &told); err != nil {
		t.Fatal(err)
	}
	return told
}

// onARecord is what of a visit stands on its record, from the top down.
func onARecord(u app.PastUnit, v app.PastVisit) []string {
	spoken := func(id string) string { return strings.ReplaceAll(id, "-", " ") }
	list := []string{u.Maker + " " + u.Model, v.Customer, u.Serial, v.Received[:min(10, len(v.Received))]}
	if v.Shipped != nil && *v.Shipped != "unknown" {
		list = append(list, (*v.Shipped)[:10], spoken(v.Outcome))
	}
	list = append(list, "In your words", v.Complaint, "What was found")
	for _, f := range v.Faults {
		list = append(list, strings.TrimSpace(f.Designator+" "+spoken(f.Component)+" "+spoken(f.Mode)))
	}
	for _, p := range v.Parts {
		list = append(list, p.Designator, p.Out, p.In, p.Reason)
	}
	for _, l := range v.Lines {
		if l.Kind == events.KindWorkDone.String() {
			list = append(list, l.Line)
		}
	}
	for _, r := range v.Readings {
		list = append(list, r.Point, r.AsFound, r.AsLeft, r.Read, r.Limits)
	}
	list = append(list, "Final test", "charge")
	if v.Charge != "" {
		list = append(list, "Charge: "+v.Charge)
	}
	return append(list, report.NoCertificate)
}

func TestARecordDoesNotChangeWithTheDay(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750", "2026-01-05").Tag
	do(t)(s.Ship(tag, on("2026-01-12"), events.Shipped{Outcome: "repaired", WarrantyDays: 90}))
	var kept []byte
	for range 2 {
		r, err := s.ServiceRecord(tag, app.Recording{})
		if err != nil {
			t.Fatal(err)
		}
		equal(t, "warranty until", r.WarrantyTill, "2026-04-12") // 90 days after January 12 (calendar)
		equal(t, "days", *r.Days, 7)
		var b bytes.Buffer
		if _, err := report.PDF(&b, &r, paper.Letter); err != nil {
			t.Fatal(err)
		}
		if kept != nil && !bytes.Equal(kept, b.Bytes()) {
			t.Error("the second printing differs")
		}
		kept = b.Bytes()
	}
}

// do fails a test where an action can't be saved.
func do(t *testing.T) func(app.Saved, error) {
	return func(_ app.Saved, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
}

// Of a customer the name goes on paper and nothing else, unless it is asked for; of
// one who was forgotten, and where names are veiled, nothing.
func TestARecordTellsOfTheCustomerNoMoreThanIsAskedFor(t *testing.T) {
	s := newShop(t)
	res, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750"}, Who: on("2026-01-05"),
		Customer: events.Personal{Name: "Odile Marchbanks", Phone: "555-0100", Email: "odile@holmby.example", Address: "3 Quarry Lane", City: "Holmby"}})
	if err != nil {
		t.Fatal(err)
	}
	do(t)(s.Record(res.Tag, on("2026-01-06"), events.Note{Text: "she pays late"}))
	paperOf := func(s *app.Shop, o app.Recording) string {
		r, err := s.ServiceRecord(res.Tag, o)
		if err != nil {
			t.Fatal(err)
		}
		return printed(t, r) + r.Text()
	}
	plain := paperOf(s, app.Recording{})
	for _, secret := range []string{"555-0100", "odile@", "Quarry", "Holmby", "pays late"} {
		if strings.Contains(plain, secret) {
			t.Errorf("%s is on the paper", secret)
		}
	}
	if !strings.Contains(plain, "Odile Marchbanks") || !strings.Contains(plain, "1 note of the shop's own is not on this record") {
		t.Error("the name, or that a note is left off, is missing")
	}
	if all := paperOf(s, app.Recording{Contact: true, Notes: true}); !strings.Contains(all, "555-0100") || !strings.Contains(all, "she pays late") {
		t.Errorf("what was asked for is not on it: %s", all)
	}
	if veiled := paperOf(s.Veiled(), app.Recording{Contact: true}); strings.Contains(veiled, "Odile") || strings.Contains(veiled, "555") {
		t.Error("a veiled shop prints the name")
	}
	if _, err := s.Forget(app.Forget{Who: "Odile", Do: true}); err != nil {
		t.Fatal(err)
	}
	if gone := paperOf(s, app.Recording{Contact: true}); strings.Contains(gone, "Odile") || strings.Contains(gone, app.NameForgotten) {
		t.Error("who was forgotten is on paper")
	}
}

// What was corrected shows the version that stands, what was taken back nothing,
// and how the year is known follows what stands too.
func TestARecordShowsWhatStands(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750", "2026-01-05").Tag
	do(t)(s.Record(tag, on("2026-01-06"), events.Identified{YearFrom: 1963, YearTo: 1964, Evidence: []events.Evidence{{What: "date code", Text: "274-6342", Part: "LS1"}}}))
	do(t)(s.Record(tag, on("2026-01-06"), events.PartReplaced{Designator: "C1", In: events.Marking{Text: "47 nF"}}, events.WorkDone{Work: "cleaned"}))
	u, err := s.PastOf(tag)
	if err != nil {
		t.Fatal(err)
	}
	lines := u.Visits[0].Lines
	id := func(kind events.Kind) string {
		return lines[slices.IndexFunc(lines, func(l app.PastLine) bool { return l.Kind == kind.String() })].Event
	}
	do(t)(s.Correct(tag, id(events.KindPartReplaced), []string{"in.text=47 pF"}, "", on("2026-01-07")))
	do(t)(s.Withdraw(tag, id(events.KindWorkDone), "another set", on("2026-01-07")))
	r, err := s.ServiceRecord(tag, app.Recording{})
	if err != nil {
		t.Fatal(err)
	}
	all := printed(t, r)
	for text, want := range map[string]bool{"47 pF": true, "47 nF": false, "cleaned": false, "1 entry was corrected": true, "1 entry was taken back": true,
		"1963 to 1964, date code 274-6342 on LS1": true, "still on the bench": true, "No final test is written down": false} {
		if strings.Contains(all, text) != want {
			t.Errorf("%q on paper: %v", text, !want)
		}
	}
}

func TestARecordOfNoVisitIsRefused(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750", "2026-01-05").Tag
	for _, n := range []int{-1, 2} {
		if _, err := s.ServiceRecord(tag, app.Recording{Visit: n}); err == nil || !strings.Contains(err.Error(), "has 1 visit") {
			t.Errorf("visit %d: %v", n, err)
		}
	}
	if _, err := s.ServiceRecord("10091", app.Recording{}); err == nil {
		t.Error("a record of a unit that nobody has")
	}
}

// A conflict that nobody settled is said on the paper, with both versions.
func TestARecordSaysWhatIsNotSettled(t *testing.T) {
	s := inventedShop(t)
	i := slices.IndexFunc(demo.Sights, func(sight demo.Sight) bool { return strings.Contains(sight.Title, "a conflict to settle") })
	u, err := s.PastOf(demo.Sights[i].Serial)
	if err != nil || len(u.Conflicts) != 1 {
		t.Fatal(u.Conflicts, err)
	}
	said := 0
	for n := range u.Visits {
		r, err := s.ServiceRecord(u.Tag, app.Recording{Visit: n + 1})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Conflicts) == 0 {
			continue
		}
		said++
		all := printed(t, r)
		for _, v := range u.Conflicts[0].Versions {
			if line := strings.TrimPrefix(v.Line, "corrected to "); !strings.Contains(all, line) {
				t.Errorf("%q is not on the paper:\n%s", line, all)
			}
		}
	}
	equal(t, "visits that say it", said, 1)
}

// Limits as they are typed on a bench, read by hand.
func TestLimitsAreReadAsTyped(t *testing.T) {
	for _, c := range []struct{ kind, text, low, high string }{
		{"audio-level-am", "80 to 120 mV", "80 mV", "120 mV"}, {"audio-level-am", "80 mV to 0.12 V", "80 mV", "120 mV"},
		{"hot-check-voltage", "at most 0.75 V", "", "0.75 V"}, {"hot-check-voltage", "< 0.75 V", "", "0.75 V"}, {"audio-level-am", "min. 80 mV", "80 mV", ""},
		{"audio-level-am", "120 to 80 mV", "", ""}, {"audio-level-am", "as loud as FM", "", ""}, {"", "80 to 120 mV", "", ""}, {"audio-level-am", "", "", ""},
	} {
		low, high := app.LimitsOf(c.kind, c.text)
		for _, side := range []struct {
			name, want string
			got        events.Quantity
		}{{"low", c.low, low}, {"high", c.high, high}} {
			want, _, err := app.Reading(events.ReadingTaken{Point: "x", Measure: c.kind, Text: side.want})
			if side.want != "" && (err != nil || want.Value != side.got) || side.want == "" && side.got != (events.Quantity{}) {
				t.Errorf("%s %q: %s is %v, want %q", c.kind, c.text, side.name, side.got, side.want)
			}
		}
	}
}
