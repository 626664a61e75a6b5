package app_test

import (
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events/eventlog"
)

// commitOf numbers the last commit of a shop's log.
func commitOf(t *testing.T, s *app.Shop) uint64 {
	t.Helper()
	v, err := s.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	return v.Commit()
}

// Opening a folder of another version makes all projections anew, and who then asks for
// that is told how long it took. Asked once more, or after something was saved, or at a
// shop that is open for long, it is done.
func TestWhatOpeningMadeAnewIsNotMadeTwice(t *testing.T) {
	w := foundedApart(t)
	makeOlder := func(s *app.Shop) {
		t.Helper()
		if err := s.Log.Rewrite("of another version", func(*eventlog.Bulk) error { return nil }); err != nil {
			t.Fatal(err)
		}
	}
	rebuilt := func(s *app.Shop) bool {
		t.Helper()
		before := commitOf(t, s)
		if took, err := s.Rebuild(); err != nil || took <= 0 {
			t.Fatalf("it took %s: %v", took, err)
		}
		return commitOf(t, s) != before
	}
	w.in(t, "a", func(s *app.Shop) {
		if !rebuilt(s) {
			t.Error("of a folder of this version nothing is made anew")
		}
		makeOlder(s)
	})
	w.in(t, "a", func(s *app.Shop) {
		if rebuilt(s) {
			t.Error("what opening made is made again")
		}
		if !rebuilt(s) {
			t.Error("asked once more it is not done")
		}
		makeOlder(s)
	})
	w.in(t, "a", func(s *app.Shop) {
		if !rebuilt(s.Lend()) {
			t.Error("at a shop that is lent it is not done")
		}
		makeOlder(s)
	})
	w.in(t, "a", func(s *app.Shop) {
		receive(t, s, "ANEW-1", "2026-03-01")
		if !rebuilt(s) {
			t.Error("after something was saved it is not done")
		}
	})
}
