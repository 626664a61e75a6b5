package cluster_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// unit is what the benches write about.
var unit = events.UnitID{0, 0, 0, 1}

// shop is a shop of some benches, each with a log of its own.
type shop struct {
	n       int
	id      events.ShopID
	tag     exchange.Tag
	keys    []events.BenchKey
	ids     []events.BenchID
	facts   []events.Body
	benches []*bench
}

// bench is one of them, and how far its meeting came.
type bench struct {
	key  events.BenchKey
	log  *eventlog.Log
	side *replicate.Bench
	x    *exchange.Exchange

	cancel context.CancelFunc
	done   chan struct{}
	mu     sync.Mutex
	at     meet.Progress
}

// newShop founds a shop of its own: two with one number are one shop.
func newShop(t testing.TB, n, benches int) *shop {
	t.Helper()
	f := &shop{n: n}
	owner, err := events.OwnerKeyOf([32]byte{1, byte(n), byte(n >> 8)})
	check(t, err)
	founding, err := owner.Found(fmt.Sprintf("Shop %d", n), [16]byte{4, byte(n), byte(n >> 8)})
	check(t, err)
	f.id, f.facts = founding.Shop(), []events.Body{founding}
	f.tag = exchange.Tag(segment.TagOf(f.id))
	for i := range benches {
		key, err := events.BenchKeyOf([32]byte{2, byte(i), byte(n), byte(n >> 8)})
		check(t, err)
		id, err := key.Public()
		check(t, err)
		admitted, err := owner.Admit(f.id, id, fmt.Sprint("bench ", i+1), uint32(i+1))
		check(t, err)
		f.keys, f.ids, f.facts = append(f.keys, key), append(f.ids, id), append(f.facts, admitted)
	}
	set, err := owner.SetKey(f.id, 1, events.ShopKey{8, byte(n), byte(n >> 8)}, f.ids...)
	check(t, err)
	f.facts = append(f.facts, set)
	return f
}

// open opens the benches' logs. The first has what the owner said.
func (f *shop) open(t testing.TB) {
	t.Helper()
	for i, key := range f.keys {
		log, err := eventlog.Open(eventlog.Options{Dir: "log", FS: vfs.NewMem(), Shop: f.id, Key: key, Create: true, Software: "oldhand test"})
		check(t, err)
		t.Cleanup(func() { check(t, log.Close()) })
		b := &bench{key: key, log: log}
		told := f.facts
		if i == 0 {
			check(t, b.write(f.facts...))
			told = nil
		}
		b.side, err = replicate.NewBench(replicate.OnLog(log), f.id, key, rand.Reader, told...)
		check(t, err)
		f.benches = append(f.benches, b)
	}
}

func (b *bench) write(bodies ...events.Body) error {
	return eventstest.SaveBodies(context.Background(), b.log, unit, bodies...)
}

// note writes notes of the usual length, some in one action.
func (b *bench) note(n, each int) error {
	for begun := 0; begun < n; begun += each {
		var bodies []events.Body
		for i := range min(each, n-begun) {
			bodies = append(bodies, events.Note{Text: fmt.Sprintf("note %d: the selector's second gang cleaned, contacts bright", begun+i)})
		}
		if err := b.write(bodies...); err != nil {
			return err
		}
	}
	return nil
}

// dial dials until the cluster lets the bench have its streams.
func (f *shop) dial(t testing.TB, s *site, i int) {
	t.Helper()
	b := f.benches[i]
	var last error
	eventually(t, fmt.Sprintf("shop %d bench %d is let in", f.n, i+1), func() bool {
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		x, err := exchange.Dial(ctx, s.to(b.key, f.tag))
		if err != nil {
			if last == nil || err.Error() != last.Error() {
				t.Logf("shop %d bench %d: %v", f.n, i+1, err)
			}
			last = err
			return false
		}
		b.x = x
		return true
	})
}

// live has all benches of the shop meet the cluster until stop.
func (f *shop) live(t testing.TB) {
	for i, b := range f.benches {
		ctx, cancel := context.WithCancel(context.Background())
		b.cancel, b.done = cancel, make(chan struct{})
		go func() {
			defer close(b.done)
			p, err := meet.Exchange(ctx, b.side, b.x, meet.Options{Changed: b.log.Changed, Told: func(p meet.Progress) {
				b.mu.Lock()
				defer b.mu.Unlock()
				b.at = p
			}})
			if !errors.Is(err, context.Canceled) {
				t.Errorf("shop %d bench %d: %v", f.n, i+1, err)
			}
			b.mu.Lock()
			defer b.mu.Unlock()
			b.at = p
		}()
	}
}

// stop ends the meetings and the connections.
func (f *shop) stop() {
	for _, b := range f.benches {
		if b.cancel != nil {
			b.cancel()
			<-b.done
			b.cancel = nil
		}
		if b.x != nil {
			b.x.Close()
		}
	}
}

// equal reports whether all benches of the shop have all heads, and of all feeds.
func (f *shop) equal() bool {
	first := f.benches[0].log.Heads()
	for _, b := range f.benches[1:] {
		if !slices.Equal(b.log.Heads(), first) {
			return false
		}
	}
	return true
}

// events counts what each bench has.
func (f *shop) events() (all uint64) {
	for _, h := range f.benches[0].log.Heads() {
		all += h.Seq
	}
	return all
}

// met sums up what the benches' meetings came to.
func (f *shop) met() (p meet.Progress) {
	for _, b := range f.benches {
		b.mu.Lock()
		p.Took, p.Gave, p.GaveEvents, p.Aside = p.Took+b.at.Took, p.Gave+b.at.Gave, p.GaveEvents+b.at.GaveEvents, p.Aside+b.at.Aside
		b.mu.Unlock()
	}
	return p
}

// digest is one hash over the records of all events about the unit, read back
// from the bench's log, in the order of their ids.
func (b *bench) digest(t testing.TB) (sum [sha256.Size]byte, n int) {
	t.Helper()
	v, err := b.log.View()
	check(t, err)
	defer v.Close()
	list, err := v.AllEvents(unit)
	check(t, err)
	slices.SortFunc(list, func(x, y events.Event) int { return slices.Compare(x.ID[:], y.ID[:]) })
	h := sha256.New()
	for _, e := range list {
		h.Write(e.Record)
	}
	return [sha256.Size]byte(h.Sum(nil)), len(list)
}

// has reports whether a bench is one of the shop's.
func (f *shop) has(id events.BenchID) bool { return slices.Contains(f.ids, id) }
