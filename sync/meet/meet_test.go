package meet_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/benchtest"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/segment"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m,
		goleak.IgnoreAnyFunction("github.com/nats-io/nats-server/v2/server.(*Server).startGoRoutine.func1"), // ends a moment after the server says it did
		goleak.IgnoreTopFunction("github.com/cockroachdb/pebble/v2/vfs.(*diskHealthCheckingFS).startTickerLocked.func1"),
		goleak.IgnoreTopFunction("time.Sleep"))
}

// unit is what the benches write about.
var unit = events.UnitID{0, 0, 0, 1}

// shop is a world's laptops with a real exchange between them.
type shop struct {
	*benchtest.World
	host *exchange.Host
	tag  exchange.Tag
}

func newShop(t testing.TB, seed uint64) *shop {
	t.Helper()
	w, err := benchtest.NewWorld(seed)
	for err == nil && len(w.Laptops) < 3 {
		seed += 1000
		if err = w.Close(); err == nil {
			w, err = benchtest.NewWorld(seed)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	s := &shop{World: w, tag: exchange.Tag(segment.TagOf(w.Laptops[0].Log.Shop()))}
	s.open(t, t.TempDir())
	t.Cleanup(func() {
		if err := errors.Join(s.host.Close(), w.Close()); err != nil {
			t.Error(err)
		}
	})
	return s
}

// open hosts an exchange in a folder.
func (s *shop) open(t testing.TB, dir string) {
	t.Helper()
	var err error
	if s.host, err = exchange.OpenHost(exchange.HostOptions{Dir: dir}); err != nil {
		t.Fatal(err)
	}
	var ids []events.BenchID
	for _, l := range s.Laptops {
		ids = append(ids, l.ID)
	}
	if err := s.host.SetUsers(s.tag, ids, nil); err != nil {
		t.Fatal(err)
	}
}

func (s *shop) dial(t testing.TB, l *benchtest.Laptop) *exchange.Exchange {
	t.Helper()
	x, err := exchange.Dial(t.Context(), exchange.DialOptions{Host: s.host, Key: l.Key, Tag: s.tag})
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// once lets a laptop meet the exchange until nothing is left to do.
func (s *shop) once(t testing.TB, l *benchtest.Laptop) meet.Progress {
	t.Helper()
	x := s.dial(t, l)
	defer x.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	p, err := meet.Exchange(ctx, l.Bench, x, meet.Options{Once: true, Changed: l.Log.Changed})
	if err != nil {
		t.Fatalf("%s: %v (%+v)", l.Name, err, p)
	}
	return p
}

func note(t *testing.T, l *benchtest.Laptop, n int) {
	t.Helper()
	err := l.Log.Append(t.Context(), func(tx *eventlog.Tx) error {
		for i := range n {
			if _, err := tx.Add(events.Draft{About: unit, Body: events.Note{Text: fmt.Sprint(l.Name, i)}}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// same checks that all laptops have the same heads, and how many events in all.
func (s *shop) same(t *testing.T) (all uint64) {
	t.Helper()
	want := fmt.Sprint(s.Laptops[0].Log.Heads())
	for _, l := range s.Laptops {
		if got := fmt.Sprint(l.Log.Heads()); got != want {
			t.Errorf("%s has %s\nthe first has %s", l.Name, got, want)
		}
	}
	for _, h := range s.Laptops[0].Log.Heads() {
		all += h.Seq
	}
	return all
}

func TestBenchesThatMeetOneAfterTheOtherHoldTheSame_P4_P9(t *testing.T) {
	s := newShop(t, 3)
	for i, l := range s.Laptops {
		note(t, l, 700*(i+1)) // more than one segment
	}
	for range 2 {
		for _, l := range s.Laptops {
			s.once(t, l)
		}
	}
	if all := s.same(t); all < 2100 {
		t.Errorf("%d events in all", all)
	}
	for _, l := range s.Laptops {
		if p := s.once(t, l); !p.Standing.Level || p.Took+p.Gave+p.Aside != 0 {
			t.Errorf("%s: a meeting with nothing to do came to %+v", l.Name, p)
		}
	}
}

// The host's folder is gone and another is made: any one bench fills it (P8, F19).
func TestAnEmptyExchangeIsFilledByOneBench_F19_P8(t *testing.T) {
	s := newShop(t, 4)
	for _, l := range s.Laptops {
		note(t, l, 30)
	}
	for range 2 {
		for _, l := range s.Laptops {
			s.once(t, l)
		}
	}
	all := s.same(t)
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	s.open(t, t.TempDir())
	note(t, s.Laptops[1], 5)
	s.once(t, s.Laptops[1])
	s.once(t, s.Laptops[0])
	for _, l := range s.Laptops[2:] {
		s.once(t, l)
	}
	if now := s.same(t); now < all+5 {
		t.Errorf("%d events, before %d", now, all)
	}
}

// Two benches that are both there see each other's work as it is saved.
func TestWhatOneSavesTheOtherHasAtOnce(t *testing.T) {
	s := newShop(t, 5)
	a, b := s.Laptops[0], s.Laptops[1]
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 2)
	for _, l := range []*benchtest.Laptop{a, b} {
		x := s.dial(t, l)
		defer x.Close()
		go func() {
			_, err := meet.Exchange(ctx, l.Bench, x, meet.Options{Changed: l.Log.Changed})
			ended <- err
		}()
	}
	for range 5 {
		note(t, a, 2)
		waitFor(t, b, a.Log.Heads())
		note(t, b, 2)
		waitFor(t, a, b.Log.Heads())
	}
	cancel()
	for range 2 {
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}
}

// waitFor waits until a laptop has all of some heads.
func waitFor(t testing.TB, l *benchtest.Laptop, heads []events.Head) {
	t.Helper()
	late := time.After(20 * time.Second)
	for {
		changed := l.Log.Changed()
		have := map[events.Head]bool{}
		for _, h := range l.Log.Heads() {
			have[h] = true
		}
		missing := 0
		for _, h := range heads {
			if !have[h] {
				missing++
			}
		}
		if missing == 0 {
			return
		}
		select {
		case <-changed:
		case <-late:
			t.Fatalf("%s still misses %d heads", l.Name, missing)
		}
	}
}

// The exchange goes away in the middle and comes back.
func TestACutIsNoEnd_F15_F16(t *testing.T) {
	s := newShop(t, 6)
	a, b := s.Laptops[0], s.Laptops[1]
	dir := t.TempDir()
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	s.open(t, dir)
	note(t, a, 1200)
	s.once(t, a)
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	note(t, a, 600)
	s.open(t, dir)
	s.once(t, a)
	s.once(t, b)
	s.once(t, a)
	for _, l := range s.Laptops[2:] {
		s.once(t, l)
	}
	s.same(t)
}
