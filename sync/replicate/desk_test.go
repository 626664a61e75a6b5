package replicate_test

import (
	"fmt"
	"io"
	"math/rand/v2"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"

	"github.com/cockroachdb/pebble/v2/vfs"
)

var unit = events.UnitID{0, 0, 0, 1}

// shop is a shop made up for a test, with its owner's key.
type shop struct {
	t       *testing.T
	seed    uint64
	id      events.ShopID
	owner   events.BenchKey
	ownerID events.BenchID
	facts   []events.Body
	desks   []*desk
}

// desk is one bench of it, with a real log on a disk in memory.
type desk struct {
	shop   *shop
	key    events.BenchKey
	id     events.BenchID
	disk   *vfs.MemFS
	random io.Reader
	log    *eventlog.Log
	b      *replicate.Bench
	now    int64
	at     *benchtest.Model
	next   uint64
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func keyOf(seed, n uint64) (random [32]byte) {
	_ = must(io.ReadFull(eventstest.Seeded(seed<<20+n), random[:]))
	return random
}

// newShop founds a shop with some benches, which all know each other.
func newShop(t *testing.T, seed uint64, benches int) *shop {
	t.Helper()
	s := &shop{t: t, seed: seed, owner: must(events.OwnerKeyOf(keyOf(seed, 0)))}
	s.ownerID = must(s.owner.Public())
	founding := must(s.owner.Found("Old Mill Radio", [16]byte{byte(seed)}))
	s.id, s.facts = founding.Shop(), []events.Body{founding}
	readers := []events.BenchID{s.ownerID}
	for i := range benches {
		d := s.bench(i + 1)
		s.facts = append(s.facts, must(s.owner.Admit(s.id, d.id, fmt.Sprintf("bench %d", i+1), uint32(i+1))))
		readers = append(readers, d.id)
	}
	s.facts = append(s.facts, must(s.owner.SetKey(s.id, 1, events.ShopKey{1}, readers...)))
	for _, d := range s.desks {
		d.say(s.facts...)
	}
	return s
}

// bench is a bench that nobody admitted so far.
func (s *shop) bench(n int) *desk {
	d := &desk{shop: s, key: must(events.BenchKeyOf(keyOf(s.seed, uint64(n)))), disk: vfs.NewCrashableMem(), random: eventstest.Seeded(s.seed<<8 + uint64(n))}
	d.id = must(d.key.Public())
	s.desks = append(s.desks, d)
	d.open()
	s.t.Cleanup(func() { _ = d.log.Close() })
	return d
}

func (d *desk) open() {
	d.shop.t.Helper()
	d.log = must(eventlog.Open(eventlog.Options{Dir: "log", FS: d.disk, Shop: d.shop.id, Key: d.key, Create: true, Software: "oldhand test",
		Now: func() time.Time { return eventstest.Morning }, Random: d.random}))
	d.b = must(replicate.NewBench(replicate.OnLog(d.log), d.shop.id, d.key, d.random))
	d.at = nil
}

// restart ends the program and starts it again.
func (d *desk) restart() {
	d.shop.t.Helper()
	d.ok(d.log.Close())
	d.open()
}

// crash pulls the plug.
func (d *desk) crash() {
	d.shop.t.Helper()
	disk := d.disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 0, RNG: rand.New(rand.NewPCG(1, 1))})
	d.ok(d.log.Close())
	d.disk = disk
	d.open()
}

func (d *desk) ok(err error) {
	d.shop.t.Helper()
	if err != nil {
		d.shop.t.Fatal(err)
	}
}

// say writes bodies in one action and gives the head they end at.
func (d *desk) say(bodies ...events.Body) events.Head {
	d.shop.t.Helper()
	head := d.quietly(bodies...)
	d.ok(d.b.Grew(d.now))
	return head
}

// quietly writes without telling the bench's syncing side.
func (d *desk) quietly(bodies ...events.Body) (head events.Head) {
	d.shop.t.Helper()
	before := map[events.FeedID]events.Head{}
	for _, h := range d.log.Heads() {
		before[h.Feed] = h
	}
	d.ok(d.log.Append(d.shop.t.Context(), func(tx *eventlog.Tx) error {
		for _, b := range bodies {
			draft := events.Draft{Body: b}
			if b.Kind() == events.KindNote {
				draft.About = unit
			}
			if _, err := tx.Add(draft); err != nil {
				return err
			}
		}
		return nil
	}))
	for _, h := range d.log.Heads() {
		if h != before[h.Feed] {
			head = h
		}
	}
	return head
}

func (d *desk) note(text string) events.Head {
	d.shop.t.Helper()
	return d.say(events.Note{Text: text})
}

// has is how far a feed goes in the log.
func (d *desk) has(f events.FeedID) events.Head {
	for _, h := range d.log.Heads() {
		if h.Feed == f {
			return h
		}
	}
	return events.Head{}
}

// seal gives a feed's segment behind a number.
func (d *desk) seal(f events.FeedID, after uint64) []byte {
	d.shop.t.Helper()
	b, _, err := d.b.Seal(eventlog.First(f), after)
	d.ok(err)
	return b
}

// takes hands a desk a segment and wants it taken, or kept aside for a reason.
func (d *desk) takes(segment []byte, want replicate.Why) replicate.Came {
	d.shop.t.Helper()
	came, err := d.b.Bundle(segment, d.now)
	d.ok(err)
	if came.Aside != want {
		d.shop.t.Fatalf("aside %q (%s), want %q", came.Aside, came.Words, want)
	}
	return came
}

func (d *desk) wants(h events.Head) {
	d.shop.t.Helper()
	if got := d.has(h.Feed); got != h {
		d.shop.t.Fatalf("feed %s goes to %d (%s), want %d (%s)", h.Feed.Short(), got.Seq, got.Hash.Short(), h.Seq, h.Hash.Short())
	}
}

// aside counts what is kept aside for a reason.
func (d *desk) aside(why replicate.Why) (n int) {
	for _, a := range must(d.b.Inbox.Aside()) {
		if a.Why == why {
			n++
		}
	}
	return n
}

func (d *desk) missing() []events.Head { return d.b.Standing().Missing }

// meet begins with an exchange.
func (d *desk) meet(x *benchtest.Model) {
	d.shop.t.Helper()
	state := x.State()
	state.Lost = !x.Holds(must(d.b.Cursor(x.Epoch)))
	at, err := d.b.Meet(state, d.now)
	d.ok(err)
	d.at, d.next = x, at.Message+1
}

// read deals with the next message, if there is one.
func (d *desk) read() bool {
	d.shop.t.Helper()
	m, ok := d.at.From(d.next)
	if !ok {
		d.b.Last(d.next - 1)
		return false
	}
	_, err := d.b.Message(m, d.now)
	d.ok(err)
	d.next = m.Number + 1
	return true
}

func (d *desk) readAll() {
	d.shop.t.Helper()
	for d.read() {
	}
}

// settle lets desks meet an exchange until nothing more happens.
func settle(x *benchtest.Model, desks ...*desk) {
	for _, d := range desks {
		d.meet(x)
	}
	for idle := 0; idle < 6; idle++ {
		for _, d := range desks {
			d.now += 3000
			d.ok(d.b.Tick(d.now))
			for d.read() || d.b.Busy() {
				idle = 0
				d.ok(d.b.Do(x, func() int64 { return d.now }))
			}
		}
	}
}

// retire ends a bench, up to some heads, by what is written at a desk.
func (d *desk) retire(of *desk, upTo ...events.Head) {
	d.shop.t.Helper()
	d.say(must(roster.End(d.shop.owner, d.shop.id, of.id, upTo, "sold"))...)
}

// rekey begins another key at a desk, for all benches it knows.
func (d *desk) rekey(secret byte) events.Head {
	d.shop.t.Helper()
	return d.say(must(d.b.Inbox.Roster().Rekey(d.shop.owner, events.ShopKey{secret})))
}
