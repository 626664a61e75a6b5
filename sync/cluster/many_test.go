package cluster_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/cluster"
	"oldhand/sync/exchange"
)

var (
	manyShops   = flag.Int("shops", 50, "shops of BenchmarkManyShops")
	manyBenches = flag.Int("benches", 4, "benches of each")
	manyEvents  = flag.Int("events", 400, "events that each bench writes")
	manyPause   = flag.Duration("pause", 100*time.Millisecond, "between two actions of a bench while they meet")
)

// crowd is many shops on one cluster at once.
type crowd struct {
	shops, benches, events int
	atOnce                 int           // shops that come in at the same moment
	pause                  time.Duration // between two actions of a bench while they meet
}

// came is what a crowd's meeting came to.
type came struct {
	opened, took     time.Duration // until all are let in with their streams made; from the first meeting until all are equal
	away             time.Duration // how long a server was
	segments, events int
	bytes            uint64 // in the streams, one copy
	flooded, full    int64  // what the noisy shop stored and what it was refused
	checks           int
	before, after    int64 // bytes of memory of the process, which has servers and benches
}

const (
	quota      = 64 << 20 // of a shop
	noisyQuota = 4 << 20
)

// meets lets all shops of a crowd meet on a cluster, while one more shop floods it
// and a server is shut down and put back, and checks that each came to its own.
func (c crowd) meets(t testing.TB, s *site, all []*shop, noisy *shop) (m came) {
	m.before = memory()
	begun := time.Now()
	c.comeIn(t, s, append(all, noisy))
	m.opened = time.Since(begun)
	c.write(t, all, 0) // before they meet
	flood := startFlood(t, noisy)
	begun = time.Now()
	for _, f := range all {
		f.live(t)
	}
	var group sync.WaitGroup
	group.Go(func() { c.write(t, all, c.pause) }) // and while they do
	if len(all) > 1 {
		eventually(t, "some way is gone", func() bool { return took(all)*3 > len(all)*c.events*c.benches*(c.benches-1) })
		s.stop(1)
		down := time.Now()
		eventually(t, "it goes on without a server", func() bool { return took(all)*2 > len(all)*c.events*c.benches*(c.benches-1) })
		s.start(t, 1)
		m.away = time.Since(down)
	}
	group.Wait()
	want := uint64(c.benches * c.events)
	for _, f := range all {
		eventually(t, fmt.Sprintf("shop %d is equal", f.n), func() bool { return f.equal() && f.events() >= want })
	}
	m.took, m.after = time.Since(begun), memory()
	eventually(t, "the noisy shop is full", func() bool { return flood.full.Load() > 0 })
	m.flooded, m.full = flood.stop()
	for _, f := range all {
		p := f.met()
		m.segments, m.events = m.segments+p.Gave, m.events+p.GaveEvents
		m.bytes += f.benches[0].x.State(t.Context()).Bytes
	}
	return m
}

func took(all []*shop) (n int) {
	for _, f := range all {
		n += f.met().Took
	}
	return n
}

// comeIn has all benches dial, some at once: each shop's first makes three streams,
// and a cluster makes them one after the other.
func (c crowd) comeIn(t testing.TB, s *site, all []*shop) {
	room := make(chan struct{}, c.atOnce)
	var group sync.WaitGroup
	for _, f := range all {
		room <- struct{}{}
		group.Go(func() {
			defer func() { <-room }()
			for i := range f.benches {
				f.dial(t, s, i)
			}
		})
	}
	group.Wait()
}

// write has each bench write half of its events, five in an action.
func (c crowd) write(t testing.TB, all []*shop, pause time.Duration) {
	for range c.events / 2 / 5 {
		time.Sleep(pause)
		for _, f := range all {
			for _, b := range f.benches {
				if err := b.note(5, 5); err != nil {
					t.Errorf("shop %d: %v", f.n, err)
					return
				}
			}
		}
	}
}

const floodWriters = 2

// flood is a shop that stores all it can, and goes on when it may not.
type flood struct {
	quit         chan struct{}
	group        sync.WaitGroup
	stored, full atomic.Int64
}

func startFlood(t testing.TB, f *shop) *flood {
	fl := &flood{quit: make(chan struct{})}
	payload := make([]byte, exchange.MaxPayload)
	for w := range floodWriters {
		fl.group.Go(func() {
			fl.run(t, f.benches[0].x, events.FeedID{Bench: f.ids[0], Incarnation: events.Incarnation{byte(w + 1)}}, payload)
		})
	}
	return fl
}

func (fl *flood) run(t testing.TB, x *exchange.Exchange, feed events.FeedID, payload []byte) {
	var last uint64
	for {
		select {
		case <-fl.quit:
			return
		default:
		}
		n, err := x.Publish(context.Background(), feed, last, payload)
		switch {
		case err == nil:
			last = n
			fl.stored.Add(1)
		case errors.Is(err, exchange.ErrFull):
			fl.full.Add(1)
		case errors.Is(err, exchange.ErrBusy), errors.Is(err, exchange.ErrOffline), errors.Is(err, exchange.ErrBehind), errors.Is(err, exchange.ErrUnknown):
			if m, ok, err := x.Last(context.Background(), feed); err == nil && ok {
				last = m.Seq
			}
		default:
			t.Errorf("flood: %v", err)
			return
		}
	}
}

func (fl *flood) stop() (stored, full int64) {
	close(fl.quit)
	fl.group.Wait()
	return fl.stored.Load(), fl.full.Load()
}

// same checks that in each shop all benches read the same back, and only the
// shop's own.
func same(t testing.TB, all []*shop, each int) {
	t.Helper()
	seen := map[[32]byte]int{}
	for _, f := range all {
		first, n := f.benches[0].digest(t)
		if n != each {
			t.Errorf("shop %d has %d notes, its benches wrote %d", f.n, n, each)
		}
		if other, ok := seen[first]; ok {
			t.Errorf("shops %d and %d have the same", f.n, other)
		}
		seen[first] = f.n
		for i, b := range f.benches {
			if d, _ := b.digest(t); d != first {
				t.Errorf("shop %d: bench %d has another digest than the first", f.n, i+1)
			}
			for _, h := range b.log.Heads() {
				if !f.has(h.Feed.Bench) {
					t.Errorf("shop %d: bench %d has a feed of bench %s, which is none of the shop's", f.n, i+1, h.Feed.Bench)
				}
			}
		}
		if p := f.met(); p.Aside > 0 {
			t.Errorf("shop %d kept %d segments aside", f.n, p.Aside)
		}
	}
}

// fullOf checks that the noisy shop came to its quota and was held there. Each stored
// message counts on three servers. What the others have a server hears within seconds, so
// a burst is stopped at the latest when a leader's own copies alone come to all three
// parts; what its writers had under way then comes on top.
func fullOf(t testing.TB, m came) {
	t.Helper()
	if m.full == 0 {
		t.Error("the noisy shop was never told that it is full")
	}
	if room := int64(noisyQuota / exchange.MaxPayload); m.flooded < room/2 || m.flooded > cluster.Copies*room+floodWriters {
		t.Errorf("the noisy shop stored %d segments of %d bytes, its %d bytes have room for %d", m.flooded, exchange.MaxPayload, noisyQuota, room)
	}
}

// holdTo checks that each server holds a shop to its part, counted on three servers.
func (s *site) holdTo(t testing.TB, f *shop, part int64) {
	t.Helper()
	for _, srv := range s.servers {
		a, err := srv.LookupAccount(exchange.AccountName(f.tag))
		check(t, err)
		if most := a.JetStreamUsage().Limits.MaxStore; most != 3*part {
			t.Errorf("%s holds shop %d to %d bytes, want three times %d", srv.Name(), f.n, most, part)
		}
	}
}

// memory is what the process has of the machine's, in bytes; zero where nobody says.
func memory() int64 {
	runtime.GC()
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		var kb int64
		if _, err := fmt.Sscanf(line, "VmRSS: %d kB", &kb); err == nil {
			return kb << 10
		}
	}
	return 0
}

// gather lays a cluster for some shops and a noisy one.
func gather(t testing.TB, shops, benches int) (s *site, all []*shop, noisy *shop) {
	for n := range shops {
		all = append(all, newShop(t, n+1, benches))
	}
	noisy = newShop(t, shops+1, 1)
	s = laySite(t, all, quota, "")
	s.let(t, noisy, noisyQuota)
	s.save(t)
	s.startAll(t)
	s.awaitReady(t)
	for _, f := range append(all, noisy) {
		f.open(t)
		t.Cleanup(f.stop)
	}
	return s, all, noisy
}

// Several shops meet at once, each comes to its own, a server is away for a while,
// and a shop that fills its quota stops nobody.
func TestManyShopsOnOneCluster_P4_P5_F22_F26(t *testing.T) {
	c := crowd{shops: 6, benches: 2, events: 60, atOnce: 2, pause: 20 * time.Millisecond}
	s, all, noisy := gather(t, c.shops, c.benches)
	m := c.meets(t, s, all, noisy)
	s.awaitReady(t)
	same(t, all, c.benches*c.events)
	fullOf(t, m)
	s.holdTo(t, noisy, noisyQuota)
	s.holdTo(t, all[0], quota)
	for i, f := range all {
		m.checks += tries(t, s, f, all[(i+1)%len(all)])
	}
	t.Logf("%+v", m)
}

// BenchmarkManyShops is the same at the size of a region, beside one shop alone on
// the same servers in the same run.
func BenchmarkManyShops(b *testing.B) {
	c := crowd{shops: *manyShops, benches: *manyBenches, events: *manyEvents, atOnce: 4, pause: *manyPause}
	for range b.N {
		s, all, noisy := gather(b, c.shops+1, c.benches)
		lone, rest := all[:1], all[1:]
		quiet := crowd{shops: 1, benches: c.benches, events: c.events, atOnce: 1, pause: c.pause}
		begun := time.Now()
		alone := quiet.alone(b, s, lone[0])
		b.Logf("one shop alone: in after %v, %s", alone.opened.Round(time.Millisecond), alone)
		m := c.meets(b, s, rest, noisy)
		s.awaitReady(b)
		same(b, rest, c.benches*c.events)
		fullOf(b, m)
		for i, f := range rest {
			m.checks += tries(b, s, f, rest[(i+1)%len(rest)])
		}
		b.Logf("%d shops with %d benches each: in after %v, %s", c.shops, c.benches, m.opened.Round(time.Millisecond), m)
		b.Logf("the noisy shop stored %d segments and was told %d times that it is full; %d tries at other shops refused", m.flooded, m.full, m.checks)
		b.Logf("memory of the process: %d MiB with the servers and all logs open, %d MiB when all were equal; a server was away for %v; all took %v", m.before>>20, m.after>>20, m.away.Round(time.Millisecond), time.Since(begun).Round(time.Second))
		b.ReportMetric(float64(m.segments)/m.took.Seconds(), "segments/s")
		b.ReportMetric(float64(m.events)/m.took.Seconds(), "events/s")
		b.ReportMetric(float64(m.events)/m.took.Seconds()/(float64(alone.events)/alone.took.Seconds()), "of-alone")
	}
}

// alone is a shop that has the cluster for itself.
func (c crowd) alone(t testing.TB, s *site, f *shop) (m came) {
	begun := time.Now()
	c.comeIn(t, s, []*shop{f})
	m.opened = time.Since(begun)
	c.write(t, []*shop{f}, 0)
	begun = time.Now()
	f.live(t)
	c.write(t, []*shop{f}, c.pause)
	eventually(t, "the shop is equal", func() bool { return f.equal() && f.events() >= uint64(c.benches*c.events) })
	m.took = time.Since(begun)
	same(t, []*shop{f}, c.benches*c.events)
	p := f.met()
	m.segments, m.events, m.bytes = p.Gave, p.GaveEvents, f.benches[0].x.State(t.Context()).Bytes
	f.stop()
	return m
}

func (m came) String() string {
	s := m.took.Seconds()
	return fmt.Sprintf("equal after %v; %d segments (%.0f/s), %d events (%.0f/s), %d kB in the streams", m.took.Round(time.Millisecond),
		m.segments, float64(m.segments)/s, m.events, float64(m.events)/s, m.bytes>>10)
}
