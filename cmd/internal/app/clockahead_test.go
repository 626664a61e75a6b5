package app_test

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// clocked is a shop whose laptop says what a test sets.
func clocked(t *testing.T) (*app.Shop, *time.Time) {
	t.Helper()
	dir, now := t.TempDir(), asOf
	o := options(dir)
	o.Now = func() time.Time { return now }
	s, err := app.Found(filepath.Join(dir, "shop"), "Lantern Street Radio", "front", o)
	if err != nil {
		t.Fatal(err)
	}
	return untilTheEnd(t, s), &now
}

// aheadSaid fails unless something was saved with what is to be told of the clock.
func aheadSaid(t *testing.T, what string, saved app.Saved, err error) {
	t.Helper()
	if err != nil {
		t.Errorf("%s: %v", what, err)
	} else if !strings.Contains(strings.Join(saved.Notes, "\n"), "a clock was ahead") {
		t.Errorf("%s: saved, and of the clock it says %q", what, saved.Notes)
	}
}

// A laptop's clock is ahead past midnight and is set right: work on what came in
// meanwhile goes on without a word about the day, and nothing of it is put before what
// the visit has.
func TestF13_WorkGoesOnWhereAClockWasAheadPastMidnight(t *testing.T) {
	s, now := clocked(t)
	*now = asOf.Add(24 * time.Hour)
	tomorrow := events.DayOf(*now)
	res, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-1", Complaint: "hums"}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Wait(res.Tag, app.Who{}, events.WaitingBegun{For: "parts"})
	must(t, app.Saved{}, err)
	*now = asOf

	var onBench *app.NotHere
	if _, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-1"}}); !errors.As(err, &onBench) || !strings.Contains(err.Error(), "stands on a bench") {
		t.Errorf("it stands here, and is received again: %v", err)
	}
	saved, err := s.Resume(res.Tag, app.Who{}, "came")
	aheadSaid(t, "resume", saved, err)
	saved, err = s.Record(res.Tag, app.Who{}, events.WorkDone{Work: "cleaned"})
	aheadSaid(t, "work", saved, err)
	saved, err = s.Ship(res.Tag, app.Who{}, events.Shipped{Outcome: "repaired"})
	aheadSaid(t, "ship", saved, err)
	again, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-1"}})
	aheadSaid(t, "receive again", again.Saved, err)
	saved, err = s.Record(res.Tag, app.Who{}, events.NoFaultFound{})
	aheadSaid(t, "diagnose after that", saved, err)

	past, err := s.Past("E17-1", 5)
	if err != nil || len(past.Matches) != 1 || len(past.Matches[0].Visits) != 2 {
		t.Fatalf("its past is %+v (%v)", past, err)
	}
	for i, v := range past.Matches[0].Visits {
		equal(t, "day of visit "+itoa(i), strings.HasPrefix(v.Received, tomorrow.String()), true)
	}
	today, err := s.Today()
	if err != nil || len(today.Units) != 1 || today.Units[0].Waiting != nil {
		t.Errorf("on the benches is %+v (%v)", today.Units, err)
	}
	if _, err := s.Record(res.Tag, on(tomorrow.String()), events.WorkDone{Work: "cleaned"}); err != nil {
		t.Errorf("a day that was said: %v", err)
	}
	*now = asOf.Add(48 * time.Hour) // the calendar has come past it
	saved, err = s.Record(res.Tag, app.Who{}, events.WorkDone{Work: "cleaned"})
	if err != nil || len(saved.Notes) != 0 {
		t.Errorf("later it says of the clock %q (%v)", saved.Notes, err)
	}
}

// A clock that was years ahead is not gone along with: what helps is said, and does.
func TestF13_AVisitOfYearsAheadIsToBeCorrectedBeforeWorkGoesOn(t *testing.T) {
	s, now := clocked(t)
	*now = asOf.AddDate(4, 0, 0)
	res, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-1", Complaint: "hums"}})
	if err != nil {
		t.Fatal(err)
	}
	*now = asOf
	for what, do := range map[string]func() error{
		"work":    func() error { _, err := s.Record(res.Tag, app.Who{}, events.WorkDone{Work: "cleaned"}); return err },
		"ship":    func() error { _, err := s.Ship(res.Tag, app.Who{}, events.Shipped{Outcome: "repaired"}); return err },
		"receive": func() error { _, err := s.Receive(app.Intake{Unit: res.Tag}); return err },
	} {
		if err := do(); err == nil || !strings.Contains(err.Error(), "by a clock that was ahead") || !strings.Contains(err.Error(), "--set at=DAY") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := s.Record(res.Tag, app.Who{}, events.Note{Text: "looked at"}); err != nil {
		t.Errorf("a note: %v", err)
	}
	entry := res.Events[0].ID.String()
	saved, err := s.Correct(res.Tag, entry, []string{"at=" + events.DayOf(asOf).String()}, "the clock was ahead", app.Who{})
	must(t, saved, err)
	saved, err = s.Record(res.Tag, app.Who{}, events.WorkDone{Work: "cleaned"})
	must(t, saved, err)
	equal(t, "what it says of the clock", strings.Join(saved.Notes, ""), "")
}
