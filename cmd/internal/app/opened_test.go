package app_test

import (
	"errors"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
)

func TestALentFolderIsTheOpenOneAndStaysOpenWhenItIsClosed(t *testing.T) {
	s := newShop(t)
	o := options(t.TempDir())
	if _, err := app.Open(s.Dir, o); !errors.Is(err, eventlog.ErrInUse) {
		t.Fatalf("opened twice: %v", err)
	}
	o.In = s
	for range 2 {
		lent, err := app.Open(s.Dir, o)
		if err != nil {
			t.Fatal(err)
		}
		receive(t, lent, "E17-"+itoa(eventsIn(t, s)), "2026-01-05")
		if err := lent.Close(); err != nil {
			t.Fatal(err)
		}
	}
	today, err := s.Today()
	if err != nil || len(today.Units) != 2 {
		t.Errorf("%d units, %v", len(today.Units), err)
	}
	if _, err := app.Open(t.TempDir(), o); !errors.As(err, new(*app.NoShop)) {
		t.Errorf("another folder is taken for it: %v", err)
	}
}

func eventsIn(t *testing.T, s *app.Shop) int { return int(verified(t, s).Events) }

// Ten visits of one model that took 1 to 10 days, and one that stands here for
// nine: by hand (Kaplan-Meier, the open one at risk with the ten), of the eleven
// at risk nine have ended by day 9, so the share still here is 2/11.
func TestAStayIsComparedWithWhatItsModelTook(t *testing.T) {
	s := newShop(t)
	for i := range 10 {
		got := receive(t, s, "E1000"+itoa(i), "2026-03-01")
		saved, err := s.Ship(got.Tag, on("2026-03-"+[]string{"02", "03", "04", "05", "06", "07", "08", "09", "10", "11"}[i]), events.Shipped{Outcome: "repaired"})
		must(t, saved, err)
	}
	receive(t, s, "E20000", "2026-11-16") // nine days before these tests' day
	today, err := s.Today()
	if err != nil || len(today.Units) != 1 {
		t.Fatalf("%+v, %v", today, err)
	}
	u := today.Units[0]
	equal(t, "days", *u.Days, 9)
	equal(t, "bench", u.Bench, "front")
	if u.Usual == nil || u.Usual.Group != "Ostrel R-950" || u.Usual.Visits != 11 || u.Usual.Longer < 9.0/11-1e-9 || u.Usual.Longer > 9.0/11+1e-9 {
		t.Errorf("compared with %+v, want 9 of 11", u.Usual)
	}
}

func TestALookupSaysWhereAUnitIs(t *testing.T) {
	s := newShop(t)
	here, gone := receive(t, s, "E17-17750", "2026-01-05"), receive(t, s, "E17-88123", "2026-01-05")
	saved, err := s.Ship(gone.Tag, on("2026-01-20"), events.Shipped{Outcome: "repaired"})
	must(t, saved, err)
	list, more, err := s.Lookup("Ostrel", 1)
	if err != nil || !more || len(list) != 1 {
		t.Fatalf("%+v, more %v, %v", list, more, err)
	}
	if list, _, err = s.Lookup("E17-17750", 5); err != nil || len(list) == 0 || !list[0].Here || list[0].Tag != here.Tag || list[0].Likeness != 1 {
		t.Errorf("%+v, %v", list, err)
	}
	if list, _, err = s.Lookup(gone.Tag, 5); err != nil || len(list) == 0 || list[0].Here || list[0].Left != "2026-01-20" || list[0].Outcome != "repaired" {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestTheTableOfErrorsGivesEachFaceWhatItNeeds(t *testing.T) {
	for _, c := range []struct {
		err          error
		exit, status int
	}{
		{nil, 0, 200},
		{errors.New("anything"), 1, 500},
		{&app.Unclear{Typed: "x"}, 3, 404},
		{errors.Join(errors.New("saving"), eventlog.ErrDead), 4, 503},
		{eventlog.ErrDiskFull, 4, 503},
		{eventlog.ErrDamaged, 5, 500},
		{&app.Wrong{What: "year", Why: "no year"}, 1, 422},
		{&events.Invalid{Clause: "shipped: no outcome"}, 1, 422},
		{&app.NotHere{Unit: "10019", Why: "is not here"}, 1, 409},
		{app.Unmet{}, 1, 502},
	} {
		if got := app.ClassOf(c.err); got.Exit != c.exit || got.Status != c.status {
			t.Errorf("%v: %+v, want exit %d and status %d", c.err, got, c.exit, c.status)
		}
	}
}
