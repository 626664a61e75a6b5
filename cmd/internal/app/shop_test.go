package app_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/tag"
)

// newShop founds a shop in a folder of the test's, at a fixed time.
func newShop(t testing.TB) *app.Shop {
	t.Helper()
	dir := t.TempDir()
	s, err := app.Found(filepath.Join(dir, "shop"), "Lantern Street Radio", "front", options(dir))
	if err != nil {
		t.Fatal(err)
	}
	return untilTheEnd(t, s)
}

// untilTheEnd closes a shop when its test is over.
func untilTheEnd(t testing.TB, s *app.Shop) *app.Shop {
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func options(dir string) app.Options {
	return app.Options{State: filepath.Join(dir, "state"), Now: func() time.Time { return asOf }}
}

func equal[T comparable](t testing.TB, what string, got, want T) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func itoa(n int) string { return strconv.Itoa(n) }

func on(day string) app.Who {
	d, err := events.ParseDay(day)
	if err != nil {
		panic(err) // the tests' own constants
	}
	return app.Who{At: events.OnDay(d)}
}

func receive(t testing.TB, s *app.Shop, serial, day string) app.ReceiveResult {
	t.Helper()
	res, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: serial, Complaint: "hums"}, Who: on(day)})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func must(t testing.TB, _ app.Saved, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestAUnitIsNamedByTagSerialOrAPieceOfTheSerial(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	receive(t, s, "B90-55354", "2026-01-06")
	for _, name := range []string{got.Tag, "E17-17750", "e17 17750", "7750", "#" + got.Tag, got.Unit} {
		saved, err := s.Record(name, on("2026-01-07"), events.Note{Text: "here"})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		equal(t, "unit named by "+name, saved.Unit, got.Unit)
	}
}

func TestAMistypedTagIsRefusedWithTheLikelyOnesAndWritesNothing(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	before := verified(t, s)
	for i := range got.Tag {
		wrong := []byte(got.Tag)
		wrong[i] = '0' + (wrong[i]-'0'+1)%10
		_, err := s.Record(string(wrong), on("2026-01-07"), events.Note{Text: "into the wrong set"})
		var unclear *app.Unclear
		if !errors.As(err, &unclear) || len(unclear.Likely) == 0 || unclear.Likely[0].Tag != got.Tag {
			t.Errorf("%s for %s: %v", wrong, got.Tag, err)
		}
	}
	equal(t, "events", verified(t, s).Events, before.Events)
}

func TestAPieceOfSeveralSerialsIsRefused(t *testing.T) {
	s := newShop(t)
	receive(t, s, "E17-17750", "2026-01-05")
	receive(t, s, "B90-17750", "2026-01-05")
	var unclear *app.Unclear
	if _, err := s.Record("17750", on("2026-01-07"), events.Note{Text: "x"}); !errors.As(err, &unclear) || len(unclear.Likely) != 2 {
		t.Fatalf("got %v", err)
	}
}

func TestTagsHaveCheckDigitsAndNoTwoUnitsShareOne(t *testing.T) {
	s := newShop(t)
	seen := map[string]bool{}
	for i := range 300 {
		got := receive(t, s, fmt.Sprintf("E%05d", i*7919), "2026-01-05")
		if !tag.Valid(got.Tag) || seen[got.Tag] {
			t.Fatalf("tag %q of unit %d", got.Tag, i)
		}
		seen[got.Tag] = true
	}
}

func TestAReturningUnitSaysWhatItHadAndWhetherItsWarrantyRuns(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	saved, err := s.Record(got.Tag, on("2026-01-06"), app.Faults("filter caps leaky", events.FaultFound{})...)
	must(t, saved, err)
	saved, err = s.Ship(got.Tag, on("2026-01-20"), events.Shipped{Outcome: "repaired", WarrantyDays: 60})
	must(t, saved, err)

	again := receive(t, s, "e17 17750", "2026-03-01")
	equal(t, "same unit", again.Unit, got.Unit)
	if again.New || again.Before == nil {
		t.Fatalf("not known again: %+v", again)
	}
	b := again.Before
	equal(t, "days since", *b.DaysSince, 40) // January 20 to March 1 of 2026
	equal(t, "a come-back", b.ComeBack, true)
	equal(t, "warranty till", b.WarrantyTill, "2026-03-21") // 60 days on
	equal(t, "in warranty", b.InWarranty, true)
	if len(b.Done) != 1 || !strings.Contains(b.Done[0], "filter capacitor leaky") {
		t.Errorf("what was done: %v", b.Done)
	}
	if _, err := s.Receive(app.Intake{Unit: got.Tag, Who: on("2026-03-02")}); err == nil {
		t.Error("a unit on the bench was received again")
	}
	saved, err = s.Ship(got.Tag, on("2026-03-05"), events.Shipped{Outcome: "repaired"})
	must(t, saved, err)
	third, err := s.Receive(app.Intake{Unit: got.Tag, Who: on("2026-08-01")})
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "a come-back after five months", third.Before.ComeBack, false)
}

func TestOneSlipInTheSerialIsOfferedAndNotTaken(t *testing.T) {
	s := newShop(t)
	first := receive(t, s, "E17-17750", "2026-01-05")
	second := receive(t, s, "E17-17705", "2026-01-06")
	if second.Unit == first.Unit || !second.New {
		t.Fatal("a serial with a slip was taken for the same")
	}
	if len(second.Likely) != 1 || second.Likely[0].Tag != first.Tag {
		t.Fatalf("offered: %v", second.Likely)
	}
	saved, err := s.Same(first.Tag, second.Tag, "", app.Who{})
	must(t, saved, err)
	equal(t, "units once joined", verified(t, s).Units, 1)
	saved, err = s.Apart(first.Tag, second.Tag, "other case", app.Who{})
	must(t, saved, err)
	equal(t, "units once parted", verified(t, s).Units, 2)
}

func TestACorrectionReplacesAndAWithdrawalTakesAway(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	part, err := s.Record(got.Tag, on("2026-01-06"), events.PartReplaced{Designator: "C14", In: events.Marking{Text: "47 MFD"}})
	must(t, part, err)
	id := part.Events[0].ID.String()
	saved, err := s.Correct(got.Tag, id[20:], []string{"in.text=47 MMF", "at=2026-01-07"}, "misread", app.Who{})
	must(t, saved, err)
	v := visit(t, s, got.Tag)
	equal(t, "value", v.Parts[0].Value, "47 pF") // facts of the trade: MMF is pF
	saved, err = s.Withdraw(got.Tag, id[20:], "not this set", app.Who{})
	must(t, saved, err)
	equal(t, "parts left", len(visit(t, s, got.Tag).Parts), 0)
	if _, err := s.Correct(got.Tag, "ZZZZZZ", []string{"in.text=x"}, "", app.Who{}); err == nil {
		t.Error("an entry that is not there was corrected")
	}
	if _, err := s.Correct(got.Tag, got.Unit[20:], []string{"colour=red"}, "", app.Who{}); err == nil || !strings.Contains(err.Error(), "complaint") {
		t.Errorf("an unknown field should be refused with those there are: %v", err)
	}
}

func visit(t testing.TB, s *app.Shop, name string) app.PastVisit {
	t.Helper()
	p, err := s.Past(name, 1)
	if err != nil {
		t.Fatal(err)
	}
	return p.Matches[0].Visits[0]
}

func TestReadingsStandSideBySide(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	for _, r := range []events.ReadingTaken{{Point: "AM", Text: "12", Stage: events.AsFound}, {Point: "AM", Text: "95 mV", Stage: events.AsLeft}} {
		read, _, err := app.Reading(r)
		if err != nil {
			t.Fatal(err)
		}
		saved, err := s.Record(got.Tag, on("2026-01-06"), read)
		must(t, saved, err)
	}
	if r := visit(t, s, got.Tag).Readings; len(r) != 1 || r[0].AsFound != "12 mV" || r[0].AsLeft != "95 mV" {
		t.Fatalf("readings: %+v", r)
	}
}

func TestWaitsAreCountedInDays(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	saved, err := s.Wait(got.Tag, on("2026-01-07"), events.WaitingBegun{For: "parts"})
	must(t, saved, err)
	today, err := s.Today()
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "waits for", *today.Units[0].Waiting, "parts")
	equal(t, "days on the bench", *today.Units[0].Days, 324) // January 5 to November 25 of 2026
	saved, err = s.Resume(got.Tag, on("2026-01-17"), "")
	must(t, saved, err)
	if w := visit(t, s, got.Tag).Waits; len(w) != 1 || *w[0].Days != 10 {
		t.Fatalf("waits: %+v", w)
	}
	if _, err := s.Resume(got.Tag, on("2026-01-18"), ""); err == nil {
		t.Error("a wait that is over was ended again")
	}
}

func TestACustomersNameIsNowhereInTheFolderInClear(t *testing.T) {
	s := newShop(t)
	_, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E1"},
		Customer: events.Personal{Name: "Quillfeather Abernethy", City: "Marrowby Sands", Phone: "555-0142-77"}, Who: on("2026-01-05")})
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.Past("quillfeather", 3)
	if err != nil || len(p.Matches) != 1 || p.Matches[0].Visits[0].Customer != "Quillfeather Abernethy" {
		t.Fatalf("the name does not find its unit: %+v %v", p, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	looked := 0
	err = filepath.WalkDir(filepath.Dir(s.Dir), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		looked++
		for _, word := range []string{"Quillfeather", "quillfeather", "QUILLFEATHER", "Marrowby", "555-0142"} {
			if strings.Contains(string(b), word) {
				t.Errorf("%s holds %q", path, word)
			}
		}
		return err
	})
	if err != nil || looked < 5 {
		t.Fatalf("looked into %d files: %v", looked, err)
	}
	again, err := app.Open(s.Dir, options(filepath.Dir(s.Dir)))
	must(t, app.Saved{}, err)
	*s = *again // newShop closes it
}
