package app_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// apart are three benches that go on for themselves, under one clock.
type apart struct {
	top string
	now *atomic.Int64 // Unix seconds
}

var benchFolders = []string{"a", "b", "c"}

func (w apart) options() app.Options {
	boot := "one boot"
	return app.Options{State: filepath.Join(w.top, "state"), Boot: &boot, Wait: 10 * time.Second,
		Now: func() time.Time { return time.Unix(w.now.Load(), 0).UTC() }}
}

func (w apart) dir(bench string) string { return filepath.Join(w.top, bench) }

// in opens a bench's folder for fn.
func (w apart) in(t testing.TB, bench string, fn func(s *app.Shop)) {
	t.Helper()
	s, err := app.Open(w.dir(bench), w.options())
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	fn(s)
}

func (w apart) digest(t testing.TB, bench string) (d string) {
	t.Helper()
	w.in(t, bench, func(s *app.Shop) {
		v, err := s.Verify(nil)
		if err != nil || !v.OK {
			t.Fatalf("bench %s: %v, %s", bench, err, v.Wrong)
		}
		d = v.Digest
	})
	return d
}

// copied is the same three benches in other folders.
func (w apart) copied(t testing.TB) apart {
	t.Helper()
	to := apart{t.TempDir(), w.now}
	for _, folder := range append([]string{"state"}, benchFolders...) {
		if err := os.CopyFS(to.dir(folder), os.DirFS(w.dir(folder))); err != nil {
			t.Fatal(err)
		}
	}
	return to
}

// hosted hosts at a bench while fn runs.
func (w apart) hosted(t testing.TB, bench string, fn func(h *app.Hosting)) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	h, err := app.OpenHosting(ctx, w.dir(bench), "127.0.0.1:0", w.options(), func(text string) { t.Log(text) })
	if err != nil {
		t.Fatal(err)
	}
	ran := make(chan error)
	go func() { ran <- h.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ran; err != nil {
			t.Error(err)
		}
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	}()
	fn(h)
}

// sync has a bench meet where a code leads.
func (w apart) sync(t testing.TB, bench, code string) {
	t.Helper()
	r, err := app.Reach(t.Context(), w.dir(bench), []string{code})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	w.in(t, bench, func(s *app.Shop) {
		if _, err := s.Meet(t.Context(), r, app.Patient, nil); err != nil {
			t.Fatal(err)
		}
	})
}

// foundedApart founds a shop of three benches that have met, with a set that all
// know.
func foundedApart(t testing.TB) apart {
	t.Helper()
	w := apart{t.TempDir(), new(atomic.Int64)}
	w.now.Store(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC).Unix())
	s, err := app.Found(w.dir("a"), "Quarry Lane Radio", "front", w.options())
	if err != nil {
		t.Fatal(err)
	}
	receive(t, s, "SHARED-1", "2026-03-01")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	w.hosted(t, "a", func(h *app.Hosting) {
		for i, name := range []string{"attic", "van"} {
			w.join(t, benchFolders[i+1], name)
		}
		w.sync(t, "b", h.Hosted.Code)
	})
	return w
}

// join lets another bench join, while a hosts.
func (w apart) join(t testing.TB, folder, name string) {
	t.Helper()
	var in app.Invitation
	w.in(t, "a", func(s *app.Shop) {
		var err error
		if in, err = s.Invite(); err != nil {
			t.Fatal(err)
		}
	})
	if _, err := app.Join(t.Context(), w.dir(folder), []string{in.Code}, name, w.options()); err != nil {
		t.Fatal(err)
	}
}

// month lets each bench work for so many days without meeting another: sets of
// its own, the set that all know, and now and then one that another bench has
// under the same serial as well.
func (w apart) month(t testing.TB, days int) {
	t.Helper()
	for i, bench := range benchFolders {
		w.in(t, bench, func(s *app.Shop) {
			r := rand.New(rand.NewPCG(1, uint64(i)))
			for day := range days {
				w.now.Store(time.Date(2026, 3, 2+day, 9, i, 0, 0, time.UTC).Unix())
				workday(t, s, r, bench, day)
			}
		})
	}
}

// workday is what one bench records on a day.
func workday(t testing.TB, s *app.Shop, r *rand.Rand, bench string, day int) {
	t.Helper()
	serial := fmt.Sprintf("%s-%03d", bench, day)
	if day%7 == 3 {
		serial = fmt.Sprintf("TWICE-%03d", day)
	}
	at := events.OnDay(events.DayOf(time.Date(2026, 3, 2+day, 0, 0, 0, 0, time.UTC)))
	w := app.Who{At: at, By: bench}
	got := receive(t, s, serial, at.Day.String())
	saved, err := s.Record(got.Tag, w, app.Faults("filter caps leaky", events.FaultFound{})...)
	must(t, saved, err)
	if r.IntN(3) > 0 {
		saved, err = s.Ship(got.Tag, w, events.Shipped{Outcome: "repaired", WarrantyDays: 90})
		must(t, saved, err)
	}
	saved, err = s.Record("SHARED-1", w, events.Note{Text: fmt.Sprintf("%s, day %d", bench, day)})
	must(t, saved, err)
	if r.IntN(6) == 0 { // one fact, corrected on each bench by itself
		first := entryOf(t, s, "SHARED-1", "unit.received")
		saved, err = s.Correct("SHARED-1", first, []string{fmt.Sprintf("complaint=%s hears it hum", bench)}, "", w)
		must(t, saved, err)
	}
}

// entryOf is the id of a unit's first entry of a kind.
func entryOf(t testing.TB, s *app.Shop, typed, kind string) string {
	t.Helper()
	p, err := s.Past(typed, 10)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range p.Matches {
		for _, v := range m.Visits {
			for _, l := range v.Lines {
				if l.Kind == kind {
					return l.Event
				}
			}
		}
	}
	t.Fatalf("%s has no %s", typed, kind)
	return ""
}

// orders are all orders of the benches.
func orders() (all [][]string) {
	for i := range 3 {
		for j := range 3 {
			if i != j {
				all = append(all, []string{benchFolders[i], benchFolders[j], benchFolders[3-i-j]})
			}
		}
	}
	return all
}

// meetHosted has the first bench of an order host, and the others come in turn.
func (w apart) meetHosted(t testing.TB, order []string) {
	w.hosted(t, order[0], func(h *app.Hosting) {
		for end := time.Now().Add(time.Minute); time.Now().Before(end); {
			for _, bench := range order[1:] {
				w.sync(t, bench, h.Hosted.Code)
			}
			if w.digest(t, order[0]) == w.digest(t, order[1]) && w.digest(t, order[1]) == w.digest(t, order[2]) {
				return
			}
		}
		t.Error("the benches do not come to hold the same")
	})
}

// meetByFile carries one file around: first to second to third, and back to the
// first two.
func (w apart) meetByFile(t testing.TB, order []string) {
	file := ""
	for i, bench := range append(slices.Clone(order), order[0], order[1]) {
		if file != "" {
			w.in(t, bench, func(s *app.Shop) {
				if m, err := s.ReadBundle(file, nil); err != nil || !m.AllHere {
					t.Fatalf("bench %s reads %s: %+v, %v", bench, file, m, err)
				}
			})
		}
		if i >= len(order) {
			continue // the third one's file has all
		}
		next := filepath.Join(w.top, fmt.Sprintf("%d.bundle", i))
		w.in(t, bench, func(s *app.Shop) {
			if c, err := s.WriteBundle(next, app.Carry{}); err != nil || c.Held > 0 {
				t.Fatalf("bench %s writes %s: %+v, %v", bench, next, c, err)
			}
		})
		file = next
	}
}

// Whoever hosts, whoever comes first, and whether by network or by file: after a
// month apart all three benches hold the same, and the same as in every other
// order.
func TestAMonthApartComesTogetherInEveryOrder_P4_P5(t *testing.T) {
	days, orders := 30, orders()
	if testing.Short() {
		days, orders = 8, orders[3:5]
	}
	w := foundedApart(t)
	w.month(t, days)
	if w.digest(t, "a") == w.digest(t, "b") {
		t.Fatal("the benches were not apart")
	}
	all := map[string]string{}
	for _, order := range orders {
		for way, meet := range map[string]func(apart, testing.TB, []string){"hosted": apart.meetHosted, "file": apart.meetByFile} {
			name := fmt.Sprint(way, order)
			t.Run(name, func(t *testing.T) {
				w := w.copied(t)
				meet(w, t, order)
				for _, bench := range benchFolders {
					all[name+bench] = w.digest(t, bench)
				}
			})
		}
	}
	for name, d := range all {
		if d != all[fmt.Sprint("file", orders[0])+"a"] {
			t.Errorf("%s: %s", name, d)
		}
	}
	equal(t, "folders compared", len(all), 2*3*len(orders))
}
