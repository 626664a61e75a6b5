package main

import (
	"encoding/binary"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/hlc"
	"oldhand/projections"
	"oldhand/sync/exchange"
)

// Two shops of five benches whose laptops are started once each day, for ten years and
// for one of them: what grows faster than the number of feeds, here ten times, is seen.
// The years are as many as the size that was asked for has, so that a small run is
// quick.
func yearsPart(t *turn) {
	days := min(tenYears, max(10, t.stock.units/20))
	ten, one := t.years(days), t.years(days/10)
	for i, f := range ten {
		f.theirs = one[i].ours
		t.tell(f)
	}
}

const (
	tenYears       = 3650
	benchesOfYears = 5
	perDay         = 6 // events a bench and day besides the feed's first
)

// years measures a shop of some days.
func (t *turn) years(days int) (list []*figure) {
	y := t.newYears(days)
	add := func(what string, u unit, v float64) {
		list = append(list, &figure{name: what, unit: u, peer: "a tenth of it", ours: []float64{v}})
	}
	dir := t.yearsFolder(y, 0)
	t.check(t.openYears(y, 0, dir).Close()) // what a process lays out once is in no figure
	before := inUse()
	var l *eventlog.Log
	took := t.timed(func() error { l = t.openYears(y, 0, dir); return nil })
	add(fmt.Sprintf("%d feeds: open the log", days*benchesOfYears), seconds, took)
	defer func() { t.check(l.Close()) }()
	p := t.hostIn(t.TempDir(), y.shop, y.keys...)
	var s side
	add("feeds: begin to meet, the bench's side of it", seconds, t.timed(func() error { s = y.side(t, 0, l, t.near(p, y.keys[0])); return nil }))
	add("feeds: memory of both", byteCount, max(0, inUse()-before))
	add("feeds: give all to an empty exchange", seconds, t.timed(func() error { t.meets(s); return nil }))
	other := t.openYears(y, 1, t.yearsFolder(y, 1))
	defer func() { t.check(other.Close()) }()
	way := t.countTo(p.host.Addr().String())
	far := t.away(p, y.keys[1], way.addr())
	for _, when := range []string{"first comparison, both have all", "comparison at a later meeting"} {
		from := way.bytes()
		add("feeds: "+when, seconds, t.timed(func() error { t.meets(y.side(t, 1, other, far)); return nil }))
		add("feeds: "+when+", on the wire", byteCount, float64(way.bytes()-from))
	}
	add("feeds: catch-up into an empty log", seconds, t.timed(func() error { t.catchUpYears(y, p, l); return nil }))
	stop, end := t.live(s), t.live(y.side(t, 1, other, far))
	t.oneByOne(l, other, events.UnitID{1}, warm, nil)
	add("feeds: a commit seen at another bench, p50", seconds, median(t.oneByOne(l, other, events.UnitID{1}, t.each/2, nil)))
	end()
	stop()
	return list
}

func (t *turn) catchUpYears(y *years, p place, full *eventlog.Log) {
	empty := t.openYears(y, 2, t.TempDir())
	defer func() { t.check(empty.Close()) }()
	t.meets(y.side(t, 2, empty, t.away(p, y.keys[2], p.host.Addr().String())))
	t.sameHeads(full, empty)
}

// inUse is the memory in use, bytes, after what nobody needs was given back.
func inUse() float64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc)
}

// years is such a shop's events, feed after feed in the order of their days: each
// feed begins as the log begins one, with what came before it as its parent.
type years struct {
	shop   events.ShopID
	keys   []events.BenchKey
	facts  []events.Body // that a bench is told when it joins
	heads  []events.SignedHead
	all    []events.Event
	random [8]byte
	now    uint64
}

// theKey is the key of the shops here.
var theKey = events.ShopKey{8}

func (t *turn) newYears(days int) *years {
	y := &years{}
	owner, err := events.OwnerKeyOf([32]byte{1})
	t.check(err)
	founding, err := owner.Found("Quay Street Radio", [16]byte{4})
	t.check(err)
	y.shop = founding.Shop()
	y.facts = []events.Body{founding}
	var ids []events.BenchID
	for i := range benchesOfYears {
		k, err := events.BenchKeyOf([32]byte{2, byte(i)})
		t.check(err)
		id, err := k.Public()
		t.check(err)
		admitted, err := owner.Admit(y.shop, id, "bench", uint32(i+1))
		t.check(err)
		y.keys, ids, y.facts = append(y.keys, k), append(ids, id), append(y.facts, admitted)
	}
	set, err := owner.SetKey(y.shop, 1, theKey, ids...)
	t.check(err)
	y.facts = append(y.facts, set)
	parents := make([]events.Head, benchesOfYears)
	for day := range days {
		at := events.NewDay(2016, 1, 4) + events.Day(day)
		y.now = max(y.now, uint64(at.Date().UnixMilli())<<16)
		for i := range y.keys {
			parents[i], err = y.feed(i, ids[i], at, parents[i])
			t.check(err)
		}
	}
	return y
}

// feed is one bench's day.
func (y *years) feed(i int, id events.BenchID, day events.Day, parent events.Head) (head events.Head, err error) {
	head.Feed.Bench = id
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
		if head, err = y.add(head, d); err != nil {
			return head, err
		}
	}
	signed, err := y.keys[i].SignHead(y.shop, head)
	y.heads = append(y.heads, signed)
	return head, err
}

func (y *years) add(head events.Head, d events.Draft) (events.Head, error) {
	y.now++
	binary.BigEndian.PutUint64(y.random[:], binary.BigEndian.Uint64(y.random[:])+1)
	env, body, err := d.Make(events.NewEventID(hlc.Stamp(y.now), y.random))
	if err != nil {
		return head, err
	}
	record, err := events.EncodeRecord(env, body)
	if err != nil {
		return head, err
	}
	e, err := events.Link(head, record)
	y.all = append(y.all, e)
	return e.Head(), err
}

// openYears opens a bench's log in a folder.
func (t *turn) openYears(y *years, i int, dir string) *eventlog.Log {
	l, err := eventlog.Open(eventlog.Options{Dir: filepath.Join(dir, "store"), Create: true, Shop: y.shop, Key: y.keys[i], Projector: projections.Engine{},
		Witness: filepath.Join(dir, "witness"), Boot: "bench", Software: "figures", LeastFree: eventlog.DefaultLeastFree})
	t.check(err)
	return l
}

// yearsFolder is the folder of a bench that has all of it.
func (t *turn) yearsFolder(y *years, i int) string {
	dir := t.TempDir()
	l := t.openYears(y, i, dir)
	take := func(evs []events.Event, heads []events.SignedHead) error {
		return l.Append(t.within(), func(tx *eventlog.Tx) error {
			for _, e := range evs {
				if err := tx.Take(e); err != nil {
					return err
				}
			}
			for _, h := range heads {
				if err := tx.KeepHead(h); err != nil {
					return err
				}
			}
			return nil
		})
	}
	for some := range slices.Chunk(y.all, perBatch) {
		t.check(take(some, nil))
	}
	t.check(errors.Join(take(nil, y.heads), l.Close()))
	return dir
}

// side is one of the benches while it meets.
func (y *years) side(t *turn, i int, l *eventlog.Log, x *exchange.Exchange) side {
	return t.sideOf(l, y.shop, y.keys[i], x, y.facts...)
}
