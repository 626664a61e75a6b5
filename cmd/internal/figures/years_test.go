package figures

import (
	"encoding/binary"
	"flag"
	"fmt"
	"runtime"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/hlc"
	"oldhand/sync/exchange"
)

// A shop of five benches whose laptops are started once each day.
const (
	benchesOfYears = 5
	perDay         = 6 // events a bench and day besides the feed's first
)

// years is such a shop's events, feed after feed in the order of their days: each
// feed begins as the log begins one, with what came before it as its parent.
type years struct {
	*crew
	heads  []events.SignedHead
	all    []events.Event
	random [8]byte
	now    hlc.Stamp
}

func newYears(b *testing.B, openings int) *years {
	b.Helper()
	owner, err := events.OwnerKeyOf([32]byte{1})
	check(b, err)
	founding, err := owner.Found("Quay Street Radio", [16]byte{4})
	check(b, err)
	var keys []events.BenchKey
	for i := range benchesOfYears {
		k, err := events.BenchKeyOf([32]byte{2, byte(i)})
		check(b, err)
		keys = append(keys, k)
	}
	y := &years{crew: newCrew(b, owner, founding, keys...)}
	parents := make([]events.Head, benchesOfYears)
	for day := range openings {
		at := events.NewDay(2016, 1, 4) + events.Day(day)
		y.now = max(y.now, hlc.Stamp(at.Date().UnixMilli())<<16)
		for i := range keys {
			parents[i] = y.feed(b, i, at, parents[i])
		}
	}
	return y
}

// feed is one bench's day.
func (y *years) feed(b *testing.B, i int, day events.Day, parent events.Head) events.Head {
	b.Helper()
	head := events.Head{Feed: events.FeedID{Bench: idOf(b, y.keys[i])}}
	binary.BigEndian.PutUint64(head.Feed.Incarnation[:], uint64(day))
	drafts := []events.Draft{{At: events.OnDay(day), Body: events.FeedBegun{Shop: y.shop, Software: "figures", Parent: parent}}}
	if len(y.all) == 0 {
		for _, body := range y.facts { // the first feed is the founder's
			drafts = append(drafts, events.Draft{At: events.OnDay(day), Body: body})
		}
	}
	unit := events.UnitID{1, byte(i), byte(day), byte(day >> 8)}
	for n := range perDay {
		drafts = append(drafts, events.Draft{About: unit, At: events.OnDay(day), Body: events.Note{Text: fmt.Sprintf("%d: volume pot cleaned, hum gone", n)}})
	}
	for _, d := range drafts {
		head = y.add(b, head, d)
	}
	signed, err := y.keys[i].SignHead(y.shop, head)
	check(b, err)
	y.heads = append(y.heads, signed)
	return head
}

func (y *years) add(b *testing.B, head events.Head, d events.Draft) events.Head {
	b.Helper()
	y.now++
	binary.BigEndian.PutUint64(y.random[:], binary.BigEndian.Uint64(y.random[:])+1)
	env, body, err := d.Make(events.NewEventID(y.now, y.random))
	check(b, err)
	record, err := events.EncodeRecord(env, body)
	check(b, err)
	e, err := events.Link(head, record)
	check(b, err)
	y.all = append(y.all, e)
	return e.Head()
}

// filled is the folder of a bench that has all of it.
func (y *years) filled(b *testing.B, i int) string {
	b.Helper()
	dir := b.TempDir()
	l, err := eventlog.Open(y.options(i, dir, true))
	check(b, err)
	y.takeSigned(b, l, slices.Chunk(y.all, perTaking), y.heads)
	check(b, l.Close())
	return dir
}

// openOnce opens a log, begins to meet with it, and closes it.
func (y *years) openOnce(b *testing.B, dir string) {
	l, err := eventlog.Open(y.options(0, dir, false))
	check(b, err)
	y.bench(b, l, 0)
	check(b, l.Close())
}

// inUse is the memory in use after what nobody needs was given back.
func inUse() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

var openings = flag.Int("openings", 3650, "how often each of five laptops was started, for the figures of years")

// Ten years of feeds beside one year of them, so that what grows faster than the
// log is seen: the ratio is how many times as much ten years take, and the last
// column how many times as many feeds they have.
func BenchmarkYears(b *testing.B) {
	for b.Loop() {
		var year []float64
		measureYears(b, 365, func(_, _ string, n float64) { year = append(year, n) })
		measureYears(b, *openings, func(what, shown string, n float64) {
			one := year[0]
			year = year[1:]
			row(what, shown, fmt.Sprintf("%.4g", one), n/one, fmt.Sprintf("x%.1f; peer: one year", float64(*openings)/365))
		})
	}
}

func measureYears(b *testing.B, openings int, line func(what, shown string, n float64)) {
	y := newYears(b, openings)
	dir := y.filled(b, 0)
	took := func(what string, d time.Duration) { line(what+", s", fmt.Sprintf("%.4g", d.Seconds()), d.Seconds()) }
	size := func(what string, n int64) { line(what, fmt.Sprint(n), float64(n)) }
	y.openOnce(b, dir) // what a process lays out once is in neither figure
	before := inUse()
	var l *eventlog.Log
	took(fmt.Sprintf("open a log of %d feeds", openings*benchesOfYears), timed(func() {
		var err error
		l, err = eventlog.Open(y.options(0, dir, false))
		check(b, err)
	}))
	defer func() { check(b, l.Close()) }()
	took("begin to meet: the bench's side of it", timed(func() { y.bench(b, l, 0) }))
	side := y.bench(b, l, 0)
	size("memory of both, bytes", int64(inUse()-before))

	h := y.host(b)
	x := y.near(b, h, 0)
	took("give all to an empty exchange", timed(func() { meets(b, l, side, x, heard) }))
	far, way := y.counted(b, h, 1)
	other, err := eventlog.Open(y.options(1, y.filled(b, 1), false))
	check(b, err)
	defer func() { check(b, other.Close()) }()
	from := way.bytes()
	took("first comparison, both have all", timed(func() { meets(b, other, y.bench(b, other, 1), far, heard) }))
	size("bytes of it on the wire", way.bytes()-from)
	from = way.bytes()
	took("comparison at a later meeting", timed(func() { meets(b, other, y.bench(b, other, 1), far, heard) }))
	size("bytes of it on the wire", way.bytes()-from)
	took("catch-up into an empty log", timed(func() {
		empty := y.open(b, 2, false)
		meets(b, empty, y.bench(b, empty, 2), y.far(b, h, 2, h.Addr().String()), heard)
		sameHeads(b, l, empty)
	}))
	took("a commit seen at another bench, p50", median(y.seen(b, l, other, x, far)))
}

// seen is how long events take from one bench to the other while both meet.
func (y *years) seen(b *testing.B, l, other *eventlog.Log, x, far *exchange.Exchange) []time.Duration {
	defer y.live(b, l, 0, x)()
	defer y.live(b, other, 1, far)()
	y.oneByOne(b, l, other, 10)
	return y.oneByOne(b, l, other, 200)
}
