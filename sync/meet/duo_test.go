package meet_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// duo is a shop of two benches with logs on the real disk, and a host.
type duo struct {
	shop   events.ShopID
	secret events.ShopKey
	keys   [2]events.BenchKey
	facts  []events.Body
	host   *exchange.Host
	tag    exchange.Tag
}

func newDuo(t testing.TB) *duo {
	t.Helper()
	f := &duo{}
	owner, err := events.OwnerKeyOf([32]byte{1})
	check(t, err)
	founding, err := owner.Found("Harbour Lane Radio", [16]byte{4})
	check(t, err)
	f.shop, f.facts, f.secret = founding.Shop(), []events.Body{founding}, events.ShopKey{8}
	var ids []events.BenchID
	for i := range f.keys {
		f.keys[i], err = events.BenchKeyOf([32]byte{2, byte(i)})
		check(t, err)
		id, err := f.keys[i].Public()
		check(t, err)
		admitted, err := owner.Admit(f.shop, id, fmt.Sprint("bench ", i+1), uint32(i+1))
		check(t, err)
		f.facts, ids = append(f.facts, admitted), append(ids, id)
	}
	set, err := owner.SetKey(f.shop, 1, f.secret, ids...)
	check(t, err)
	f.facts, f.tag = append(f.facts, set), exchange.Tag(segment.TagOf(f.shop))
	f.host, err = exchange.OpenHost(exchange.HostOptions{Dir: t.TempDir(), Listen: "127.0.0.1:0", LeastFree: 1})
	check(t, err)
	t.Cleanup(func() { check(t, f.host.Close()) })
	check(t, f.host.SetUsers(f.tag, ids, nil))
	return f
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// bench opens a bench's log in a folder of its own and writes into it.
func (f *duo) bench(t testing.TB, i int, facts ...events.Body) (*eventlog.Log, *replicate.Bench) {
	t.Helper()
	log, err := eventlog.Open(eventlog.Options{Dir: filepath.Join(t.TempDir(), "log"), Shop: f.shop, Key: f.keys[i], Create: true, Software: "oldhand test"})
	check(t, err)
	t.Cleanup(func() { check(t, log.Close()) })
	if len(facts) > 0 {
		write(t, log, facts...)
	}
	told := f.facts // when it joined; who founds the shop is told nothing
	if len(facts) > 0 {
		told = nil
	}
	bench, err := replicate.NewBench(replicate.OnLog(log), f.shop, f.keys[i], rand.Reader, told...)
	check(t, err)
	return log, bench
}

func write(t testing.TB, log *eventlog.Log, bodies ...events.Body) {
	t.Helper()
	check(t, eventstest.SaveBodies(t.Context(), log, unit, bodies...))
}

func (f *duo) far(t testing.TB, i int) *exchange.Exchange {
	return f.dial(t, exchange.DialOptions{Addrs: []string{f.host.Addr().String()}, Pins: []exchange.Pin{f.host.Pin()}, Key: f.keys[i], Tag: f.tag})
}

func (f *duo) near(t testing.TB, i int) *exchange.Exchange {
	return f.dial(t, exchange.DialOptions{Host: f.host, Key: f.keys[i], Tag: f.tag})
}

func (f *duo) dial(t testing.TB, o exchange.DialOptions) *exchange.Exchange {
	t.Helper()
	x, err := exchange.Dial(t.Context(), o)
	check(t, err)
	t.Cleanup(x.Close)
	return x
}

// live has a bench meet the exchange until the test's end.
func (f *duo) live(t testing.TB, i int, near bool, facts ...events.Body) *eventlog.Log {
	t.Helper()
	log, bench := f.bench(t, i, facts...)
	dial := f.far
	if near {
		dial = f.near
	}
	x := dial(t, i)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if _, err := meet.Exchange(ctx, bench, x, meet.Options{Changed: log.Changed}); err != context.Canceled {
			t.Error(err)
		}
	}()
	t.Cleanup(func() { cancel(); <-done })
	return log
}

// seen waits until a log goes as far as some heads.
func seen(t testing.TB, log *eventlog.Log, heads []events.Head) {
	late := time.After(20 * time.Second)
	for {
		changed, have := log.Changed(), log.Heads()
		behind := func(h events.Head) bool {
			return !slices.ContainsFunc(have, func(g events.Head) bool { return g.Feed == h.Feed && g.Seq >= h.Seq })
		}
		if !slices.ContainsFunc(heads, behind) {
			return
		}
		select {
		case <-changed:
		case <-late:
			t.Fatalf("not seen: %v of %v", have, heads)
		}
	}
}

// A bench that the shop does not know yet is there already; what it wrote counts
// as soon as the owner's word is written, in the midst of a meeting.
func TestABenchAdmittedInAMeetingIsTakenIn_P10_P12(t *testing.T) {
	f := newDuo(t)
	founding, first, second, keys := f.facts[0], f.facts[1], f.facts[2], f.facts[3]
	a := f.live(t, 0, true, founding, first, keys)
	b := f.live(t, 1, false)
	write(t, b, notes(3, 0)...)
	write(t, a, notes(1, 0)...)
	seen(t, b, a.Heads())
	if len(a.Heads()) != 1 {
		t.Fatalf("the first bench took in what nobody lets count: %v", a.Heads())
	}
	write(t, a, second)
	seen(t, a, b.Heads())
	seen(t, b, a.Heads())
}
