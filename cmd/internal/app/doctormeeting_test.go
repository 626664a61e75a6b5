package app_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
)

// meets has bench b meet the others at a, until a has all that b has.
func (w apart) meets(t testing.TB) {
	t.Helper()
	w.hosted(t, "a", func(h *app.Hosting) {
		for end := time.Now().Add(time.Minute); ; {
			w.sync(t, "b", h.Hosted.Code)
			if a, b := w.ofAttic(t, "a"), w.ofAttic(t, "b"); a == b {
				return
			} else if time.Now().After(end) {
				t.Fatalf("bench a has %d events of attic, and b %d", a, b)
			}
			time.Sleep(50 * time.Millisecond)
		}
	})
}

// ofAttic is how many events of attic a bench has.
func (w apart) ofAttic(t testing.TB, bench string) (n uint64) {
	t.Helper()
	w.in(t, bench, func(s *app.Shop) {
		b, err := s.Benches()
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range b.Benches {
			if x.Name == "attic" {
				n = x.Events
			}
		}
	})
	return n
}

// forward lets days pass.
func (w apart) forward(days int) { w.now.Add(int64(days) * 24 * 60 * 60) }

// noFinding checks that nothing is to be done about a thing.
func noFinding(t testing.TB, c app.Checkup, about string) {
	t.Helper()
	for _, f := range c.Findings {
		if f.About == about && !f.OK {
			t.Errorf("it says of %s: %s", about, f.Says)
		}
	}
}

// What is remembered of meetings is no entry: whatever became of it, a check-up says so
// and looks at all the rest, the benches are shown, and the next meeting mends it.
func TestADoctorSaysThatItCantBeToldWhenTheOthersWereMetAndAMeetingMendsIt(t *testing.T) {
	if testing.Short() {
		t.Skip("a long story")
	}
	w := foundedApart(t)
	w.meets(t)
	met := filepath.Join(w.dir("b"), "met.json")
	whole, err := os.ReadFile(met)
	if err != nil {
		t.Fatal(err)
	}
	for what, text := range map[string]string{
		"a piece":             string(whole[:len(whole)/2]),
		"nothing":             "",
		"no JSON":             "front, on Monday",
		"a list":              "[]",
		"another program's":   `{"version": 9, "meetings": []}`,
		"a time of its own":   `{"at": "2026-03-01T09:00:00Z", "with": "127.0.0.1:1"}`,
		"a file's time so":    `{"at": "2026-03-01 09:00", "read": "Monday", "file": "monday.bundle"}`,
		"a number for a time": `{"at": 5}`,
	} {
		if err := os.WriteFile(met, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		w.in(t, "b", func(s *app.Shop) {
			c := checkup(t, s)
			wantFinding(t, c, false, "meeting", "it can't be told when this bench met the others last: "+met+" can't be read")
			wantFinding(t, c, false, "backup", "none was made") // it went on after that
			b, err := s.Benches()
			if err != nil || len(b.Benches) != 3 || !strings.Contains(b.MetSays, "can't be told") {
				t.Errorf("%s: %+v, %v", what, b, err)
			}
		})
	}
	if err := os.Remove(met); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(met, 0o700); err != nil {
		t.Fatal(err)
	}
	w.in(t, "b", func(s *app.Shop) { wantFinding(t, checkup(t, s), false, "meeting", "is a directory") })
	if err := os.Remove(met); err != nil {
		t.Fatal(err)
	}
	w.in(t, "b", func(s *app.Shop) {
		wantFinding(t, checkup(t, s), false, "meeting", "this bench has not met the others yet")
	})
	if err := os.WriteFile(met, whole[:len(whole)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	w.meets(t)
	w.in(t, "b", func(s *app.Shop) {
		wantFinding(t, checkup(t, s), true, "meeting", "this bench met the others last at ")
	})
	// What a newer program says besides is left aside.
	if err := os.WriteFile(met, []byte(strings.Replace(string(whole), "{", `{"by": "courier",`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	w.in(t, "b", func(s *app.Shop) {
		wantFinding(t, checkup(t, s), true, "meeting", "this bench met the others last at ")
	})
}

func TestADoctorSaysWhichSmallFilesOthersCanRead(t *testing.T) {
	s, _, _ := shopAt(t)
	defer s.Close()
	met := filepath.Join(s.Dir, "met.json")
	if err := os.WriteFile(met, []byte(`{"at": "2026-03-01 09:00"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	noFinding(t, checkup(t, s), "folder")
	for _, mode := range []os.FileMode{0o640, 0o604, 0o602} {
		if err := os.Chmod(met, mode); err != nil {
			t.Fatal(err)
		}
		c := checkup(t, s)
		wantFinding(t, c, false, "folder", "others on this machine may look into "+met)
		for _, f := range c.Findings {
			if f.About == "folder" && f.Do != "chmod 600 "+met {
				t.Errorf("mode %o: what helps is %q", mode, f.Do)
			}
		}
	}
}

// Where the benches meet is told anew by a code; until then a sync says what helps.
func TestABenchThatLostWhereTheOthersMeetSaysSoAndTakesACode(t *testing.T) {
	if testing.Short() {
		t.Skip("a long story")
	}
	w := foundedApart(t)
	places := filepath.Join(w.dir("b"), "exchanges.json")
	if err := os.WriteFile(places, []byte(`[{"addresses":`), 0o600); err != nil {
		t.Fatal(err)
	}
	w.in(t, "b", func(s *app.Shop) {
		c := checkup(t, s)
		wantFinding(t, c, false, "meeting", "does not know any more where the benches meet: "+places)
		wantFinding(t, c, false, "backup", "none was made")
	})
	_, err := app.Reach(t.Context(), w.dir("b"), nil)
	if !errors.As(err, new(*app.PlacesLost)) || !strings.Contains(app.HintFor(err), "oldhand sync CODE") {
		t.Errorf("a sync says %v; %s", err, app.HintFor(err))
	}
	if err := app.Watch(t.Context(), w.dir("b"), nil, w.options(), nil, nil); !errors.As(err, new(*app.PlacesLost)) {
		t.Errorf("who stays with the others hears %v", err)
	}
	w.meets(t)
	w.in(t, "b", func(s *app.Shop) { noFinding(t, checkup(t, s), "meeting") })
	r, err := app.Reach(context.WithoutCancel(t.Context()), w.dir("b"), nil)
	if err == nil || errors.As(err, new(*app.PlacesLost)) {
		t.Errorf("after a meeting the place is %v, %v", r, err) // known, and nobody hosts now
	}
}

// A check-up counts two weeks without the others, and two months without a word of a
// bench, in this bench's time.
func TestADoctorSaysHowLongTheOthersAreSilent(t *testing.T) {
	if testing.Short() {
		t.Skip("a long story")
	}
	w := foundedApart(t)
	w.in(t, "b", func(s *app.Shop) { receive(t, s, "OF-B", "2026-03-01") })
	w.meets(t)
	look := func(bench string) (c app.Checkup) {
		w.in(t, bench, func(s *app.Shop) { c = checkup(t, s) })
		return c
	}
	w.forward(13)
	wantFinding(t, look("b"), true, "meeting", "this bench met the others last at 2026-03-01")
	w.forward(2)
	wantFinding(t, look("b"), false, "meeting", "this bench met the others last at 2026-03-01")
	w.in(t, "a", func(s *app.Shop) {
		if _, err := s.WriteBundle(filepath.Join(w.top, "stick"), app.Carry{}); err != nil {
			t.Fatal(err)
		}
	})
	w.in(t, "b", func(s *app.Shop) {
		if m, err := s.ReadBundle(filepath.Join(w.top, "stick"), nil); err != nil || m.Took > 0 {
			t.Fatalf("%+v, %v", m, err)
		}
		wantFinding(t, checkup(t, s), false, "meeting", "this bench met the others last at 2026-03-01") // the file told nothing
	})
	w.in(t, "a", func(s *app.Shop) {
		receive(t, s, "LATER", "2026-03-16")
		if _, err := s.WriteBundle(filepath.Join(w.top, "stick"), app.Carry{}); err != nil {
			t.Fatal(err)
		}
	})
	w.in(t, "b", func(s *app.Shop) {
		if m, err := s.ReadBundle(filepath.Join(w.top, "stick"), nil); err != nil || m.Took == 0 {
			t.Fatalf("%+v, %v", m, err)
		}
		wantFinding(t, checkup(t, s), true, "meeting", "and took in a file of theirs last at 2026-03-16")
	})
	w.forward(15)
	wantFinding(t, look("b"), false, "meeting", "took in a file of theirs last at 2026-03-16 09:00 (stick)")
	noFinding(t, look("a"), "bench attic")
	w.forward(45)
	wantFinding(t, look("a"), false, "bench attic", "nothing that was recorded there since 2026-03-01 is here")
	noFinding(t, look("b"), "bench attic")     // its own
	for _, bench := range []string{"a", "b"} { // it joined and was never heard of
		wantFinding(t, look(bench), false, "bench van", "nothing that was recorded there ever came here, and it was let in on 2026-03-01")
	}
	w.in(t, "b", func(s *app.Shop) { receive(t, s, "AT-LAST", "2026-05-15") })
	w.meets(t)
	wantFinding(t, look("b"), true, "meeting", "this bench met the others last at 2026-05-15")
	noFinding(t, look("a"), "bench attic")
}

// A clock that was ahead at the last meeting does not keep a bench from being told for
// as long as it was ahead.
func TestADoctorDoesNotTakeAMeetingToComeForOne(t *testing.T) {
	if testing.Short() {
		t.Skip("a long story")
	}
	w := foundedApart(t)
	right := w.now.Load()
	w.forward(400)
	w.meets(t)
	w.now.Store(right)
	w.in(t, "b", func(s *app.Shop) {
		wantFinding(t, checkup(t, s), false, "meeting", "which is still to come by this laptop's clock")
	})
	w.meets(t)
	w.in(t, "b", func(s *app.Shop) { noFinding(t, checkup(t, s), "meeting") })
}

// What is remembered of backups and of the page's own doings keeps no check-up from
// the rest either.
func TestADoctorGoesOnWhereASmallFileIsTorn(t *testing.T) {
	s, _, _ := shopAt(t)
	defer s.Close()
	for name, want := range map[string][2]string{
		"backups.json": {"backup", "which were made of this folder can't be told"},
		"duties.json":  {"page", "what it does beside"},
		"lan.json":     {"page", "who may use it from a phone"},
	} {
		path := filepath.Join(s.Dir, name)
		if err := os.WriteFile(path, []byte(`{"at`), 0o600); err != nil {
			t.Fatal(err)
		}
		c := checkup(t, s)
		wantFinding(t, c, false, want[0], want[1])
		wantFinding(t, c, false, want[0], path+" can't be read")
		wantFinding(t, c, true, "benches", "1 bench")
	}
	for _, open := range []func() error{
		func() error { _, err := app.OpenLan(s.Dir, time.Now); return err },
		func() error { _, err := app.OpenDuties(s, app.Options{}, app.Wishes{}); return err },
	} {
		if err := open(); !errors.As(err, new(*app.Torn)) || !strings.Contains(app.HintFor(err), "take it away") {
			t.Errorf("the page is started: %v; %s", err, app.HintFor(err))
		}
	}
	if _, err := s.BackUp(filepath.Join(t.TempDir(), "a"), "", true, nil); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), true, "backup", "made on")
}
