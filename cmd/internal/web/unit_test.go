package web_test

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// page is a unit's page as text.
func (s *served) unitPage(tag string) string { return html.UnescapeString(s.get("/unit/" + tag)) }

func on(day string) app.Who {
	d, err := events.ParseDay(day)
	if err != nil {
		panic(err) // the tests' own constants
	}
	return app.Who{At: events.OnDay(d)}
}

// record writes an action and fails the test where it can't be.
func (s *served) record(_ app.Saved, err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatal(err)
	}
}

func TestAUnitsPageTellsItsWholePast(t *testing.T) {
	s := newShop(t)
	r, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", Complaint: "hums"},
		Customer: events.Personal{Name: "Odile Marchbanks", City: "Holmby"}, Who: on("2026-01-05")})
	if err != nil {
		t.Fatal(err)
	}
	tag := r.Tag
	s.record(s.shop.Record(tag, on("2026-01-06"), app.Faults("filter caps leaky", events.FaultFound{})...))
	part, _ := app.PartTyped{Designator: "C1", Out: "47 MMF", In: "47 pF", Reason: "failed"}.Body()
	s.record(s.shop.Record(tag, on("2026-01-06"), part))
	for _, reading := range []events.ReadingTaken{{Point: "AM", Text: "12 mV", Stage: events.AsFound}, {Point: "AM", Text: "95 mV", Stage: events.AsLeft, Limits: "80 to 120 mV"}} {
		read, _, err := app.Reading(reading)
		if err != nil {
			t.Fatal(err)
		}
		s.record(s.shop.Record(tag, on("2026-01-07"), read))
	}
	s.record(s.shop.Wait(tag, on("2026-01-08"), events.WaitingBegun{For: "owner"}))
	s.record(s.shop.Ship(tag, on("2026-01-20"), events.Shipped{Outcome: "repaired", WarrantyDays: 60}))
	if _, err := s.shop.Receive(app.Intake{Unit: tag, Claim: events.Received{Complaint: "hums again"}, Who: on("2026-03-01")}); err != nil {
		t.Fatal(err)
	}
	// 40 days from January 20 to March 1, 60 on to March 21; 269 to November 25 (calendar).
	wants(t, s.unitPage(tag), "Odile Marchbanks", "“hums”", "filter capacitor leaky", "47 MMF", "12 mV", "95 mV", "80 to 120 mV", "for owner from 2026-01-08 to 2026-01-20",
		"A come-back: 40 days after it was shipped; the warranty still ran, until 2026-03-21.", "On a bench since 2026-03-01, 269 days, at front; waits for nothing",
		"the 1st of its model", "12 mV, as found in visit 1", "95 mV, as left in visit 1", "values, from first to last: 12, 95")
}

func TestTwoEntriesOfOneSetAreJoinedAndPartedOnThePage(t *testing.T) {
	s := newShop(t)
	one, other := receive(t, s, "E17-17750"), receive(t, s, "E17-17570")
	page := s.get("/unit/" + one)
	wants(t, page, "Perhaps the same set", other)
	send := func(page, do string) string {
		id := regexp.MustCompile(`<form id="((?:likely|joined)-[^"]+)"`).FindStringSubmatch(page)
		if id == nil {
			t.Fatalf("no form to %s with in %.3000s", do, page)
		}
		status, page := s.post("/unit/"+one+"/pair", url.Values{"other": {other}, "do": {do}, "why": {"its label"}, "once": {once(t, page, id[1])}})
		if status != http.StatusOK {
			t.Fatalf("%s: status %d: %s", do, status, page)
		}
		return page
	}
	page = send(page, "same")
	wants(t, page, "The two are one set", "and joined")
	if both := s.get("/unit/" + other); !strings.Contains(both, ">"+one+"<") {
		t.Error("the other's tag does not lead to the joined unit")
	}
	page = send(page, "apart")
	wants(t, page, "The two are kept apart", "Said not to be the same set")
	if strings.Contains(page, "Perhaps the same set") {
		t.Error("what was parted is offered again")
	}
}

func TestAConflictIsSettledOnThePage(t *testing.T) {
	s := copyOfInvented(t)
	tag := tagOf(t, s, "two corrections of one fault that did not see each other: a conflict to settle")
	page := s.get("/unit/" + tag)
	id := regexp.MustCompile(`<form id="(settle-([^"]+))"`).FindStringSubmatch(page)
	keep := regexp.MustCompile(`name="keep" value="([^"]+)"[^>]*> fault: Q13`).FindStringSubmatch(page)
	if id == nil || keep == nil {
		t.Fatalf("no conflict in %.5000s", page)
	}
	form := url.Values{"entry": {id[2]}, "once": {once(t, page, id[1])}, "why": {"looked at the board"}, "by": {"ro"}}
	status, page := s.post("/unit/"+tag+"/settle", form)
	if status != http.StatusUnprocessableEntity {
		t.Fatalf("without a choice: status %d", status)
	}
	wants(t, page, `value="looked at the board"`, "want a version")
	form.Set("keep", keep[1])
	status, page = s.post("/unit/"+tag+"/settle", form)
	if status != http.StatusOK || strings.Contains(page, "Which one holds?") {
		t.Fatalf("status %d: %.3000s", status, page)
	}
	wants(t, page, "The conflict is settled", "conflict settled, looked at the board", "fault: Q13 output transistor shorted")
	before := commits(t, s.shop)
	if status, page = s.post("/unit/"+tag+"/settle", form); status != http.StatusOK || commits(t, s.shop) != before {
		t.Errorf("sent again: status %d, %d actions: %.500s", status, commits(t, s.shop)-before, page)
	}
}

func TestWhatWasPutRightStandsThereWithWhatItWasAndWho(t *testing.T) {
	s := copyOfInvented(t)
	wants(t, s.unitPage(tagOf(t, s, "a reading mistyped, then corrected")), "What was put right", "corrected to FM 41 mV", "<del>FM 410 mV, as found, with AC millivoltmeter</del>", "jul, bench long bench")
	wants(t, s.unitPage(tagOf(t, s, "a part entered on the wrong unit and withdrawn")), "withdrawn 1 entry")
	wants(t, s.unitPage(tagOf(t, s, "entries of a newer kind and of a newer version, which this program carries unread")), "made by a newer version")
	wants(t, s.unitPage(tagOf(t, s, "a visit without an end, though the unit came again")), "on a day nobody wrote down")
	wants(t, s.unitPage(tagOf(t, s, "a photograph attached")), "Evidence", "image/jpeg")
}

func TestAPageWithMuchOnItIsStillSmall(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	for i := range 40 {
		s.record(s.shop.Record(tag, app.Who{}, events.Note{Text: fmt.Sprintf("note %d: %s", i, strings.Repeat("long ", 20))}))
	}
	if n := len(s.get("/unit/" + tag)); n > mostBytes {
		t.Errorf("%d bytes", n)
	}
}

// Said at each of three visits a caution is read at none: it stands once, at the
// latest. So it does beside the entries of one visit at the bench.
func TestACautionIsSaidOnceAPage(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	test := func(day string) { s.record(s.shop.Record(tag, on(day), events.FinalTest{Verdict: "passed"})) }
	for _, year := range []string{"2021", "2022", "2023"} {
		if _, err := s.shop.Receive(app.Intake{Unit: tag, Who: on(year + "-01-05")}); err != nil {
			t.Fatal(err)
		}
		test(year + "-01-08")
		s.record(s.shop.Ship(tag, on(year+"-01-09"), events.Shipped{Outcome: "repaired"}))
	}
	page := s.unitPage(tag)
	if n := strings.Count(page, app.TestCaution); n != 1 {
		t.Errorf("the caution of a verdict is said %d times", n)
	}
	if latest, rest := strings.Index(page, app.TestCaution), strings.Index(page, ">Visit 2 <"); latest < strings.Index(page, "2023-01-08") || latest > rest {
		t.Errorf("it is not said at the latest visit that has it: at %d, the next visit at %d", latest, rest)
	}
	test("2026-11-24")
	test("2026-11-25")
	if n := strings.Count(html.UnescapeString(s.get("/unit/"+tag+"/bench")), app.TestCaution); n != 1 {
		t.Errorf("at the bench it is said %d times", n)
	}
}

// A unit's pages lead to each other, and an empty shop's to what is done first.
func TestPagesLeadOn(t *testing.T) {
	s := newShop(t)
	for _, path := range []string{"/", "/fleet", "/fleet/failures", "/year", "/find?q=nothing-like-it"} {
		if page := s.get(path); !strings.Contains(page[strings.Index(page, "<main"):], `href="/receive"`) {
			t.Errorf("%s of an empty shop does not lead to receiving", path)
		}
	}
	tag := receive(t, s, "E17-17750")
	wants(t, s.get("/unit/"+tag+"/bench"), `href="/unit/`+tag+`/files"`, `href="/unit/`+tag+`"`)
	wants(t, s.get("/unit/"+tag), `href="/unit/`+tag+`/files"`, `href="/unit/`+tag+`/bench"`)
	s.record(s.shop.Ship(tag, app.Who{}, events.Shipped{Outcome: "repaired"}))
	wants(t, s.get("/unit/"+tag), `href="/receive?unit=`+tag+`"`)
}
