package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/roster/invite"
	"oldhand/sync/segment"
)

// place is an exchange in this process, on the machine's disk, and how to reach
// it over TLS.
type place struct {
	host *exchange.Host
	tag  exchange.Tag
}

// hostIn opens an exchange in a folder for some benches of a shop.
func (t *turn) hostIn(dir string, shop events.ShopID, keys ...events.BenchKey) place {
	h, err := exchange.OpenHost(exchange.HostOptions{Dir: dir, Listen: "127.0.0.1:0"})
	t.check(err)
	t.Cleanup(func() { t.late = errors.Join(t.late, h.Close()) })
	p := place{h, exchange.Tag(segment.TagOf(shop))}
	var ids []events.BenchID
	for _, k := range keys {
		id, err := k.Public()
		t.check(err)
		ids = append(ids, id)
	}
	t.check(h.SetUsers(p.tag, ids, nil))
	return p
}

// hostShop opens an exchange for all benches of the story.
func (t *turn) hostShop(dir string) place {
	var keys []events.BenchKey
	for _, b := range t.story().Benches() {
		keys = append(keys, b.Key)
	}
	return t.hostIn(dir, t.story().Shop(), keys...)
}

// full is an exchange that has all that the front has.
func (t *turn) full() place {
	dir := t.inStock(exchangeFolder, func(t *turn, dir string) { t.fill(t.hostShop(dir), t.openCopy(t.front())) })
	return t.hostShop(t.copyOf(dir))
}

// fill has a bench give all it has.
func (t *turn) fill(p place, s *app.Shop) {
	m, err := s.Meet(t.within(), t.reach(p, s.Dir, p.host.Addr().String()), app.Patient, nil)
	t.check(err)
	if !m.AllThere || m.Gave != t.count() {
		t.Fatalf("of %d events %d were given", t.count(), m.Gave)
	}
}

// code says where an exchange is, as a person types it.
func (t *turn) code(p place, at string) string {
	pin := p.host.Pin()
	text, err := invite.Place{Pin: invite.Pin(pin[:16]), Addresses: []string{at}}.Text()
	t.check(err)
	return text
}

// reach connects a folder's bench as a command does.
func (t *turn) reach(p place, dir, at string) *app.Reached {
	r, err := app.Reach(t.within(), dir, []string{t.code(p, at)})
	t.check(err)
	t.Cleanup(r.Close)
	return r
}

// near connects the bench that hosts, and far another, over TLS at an address.
func (t *turn) near(p place, k events.BenchKey) *exchange.Exchange {
	return t.dial(exchange.DialOptions{Host: p.host, Key: k, Tag: p.tag})
}

func (t *turn) away(p place, k events.BenchKey, at string) *exchange.Exchange {
	return t.dial(exchange.DialOptions{Addrs: []string{at}, Pins: []exchange.Pin{p.host.Pin()}, Key: k, Tag: p.tag})
}

func (t *turn) dial(o exchange.DialOptions) *exchange.Exchange {
	x, err := exchange.Dial(t.within(), o)
	t.check(err)
	t.Cleanup(x.Close)
	return x
}

// side is one bench's log while it meets.
type side struct {
	log   *eventlog.Log
	bench *replicate.Bench
	x     *exchange.Exchange
}

// sideOf is a bench's side of a meeting. Told is what it was told when it joined.
func (t *turn) sideOf(l *eventlog.Log, shop events.ShopID, k events.BenchKey, x *exchange.Exchange, told ...events.Body) side {
	b, err := replicate.NewBench(replicate.OnLog(l), shop, k, rand.Reader, told...)
	t.check(err)
	return side{l, b, x}
}

// meets has a bench meet until all is exchanged, and demands that it is.
func (t *turn) meets(s side) {
	p, err := meet.Exchange(t.within(), s.bench, s.x, meet.Options{Once: true, Changed: s.log.Changed, Told: heard})
	t.check(err)
	if !p.Standing.Level || p.Aside > 0 {
		t.Fatalf("not level after a meeting: %d kept aside, %+v", p.Aside, p.Standing)
	}
}

// heard is a listener of a meeting, as the program has one.
func heard(meet.Progress) {}

// live has a bench meet until stop.
func (t *turn) live(s side) (stop func()) {
	ctx, cancel := context.WithCancel(t.within())
	done := make(chan error, 1)
	go func() {
		_, err := meet.Exchange(ctx, s.bench, s.x, meet.Options{Changed: s.log.Changed, Told: heard})
		done <- err
	}()
	return func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.late = errors.Join(t.late, fmt.Errorf("a meeting that was to go on ended: %w", err))
		}
	}
}

// oneByOne writes events on one bench, each after the other bench has the last,
// and gives how long each took from its commit until it was seen, in seconds.
// Between, if there is any, is done after each.
func (t *turn) oneByOne(writer, reader *eventlog.Log, unit events.UnitID, n int, between func()) (took []float64) {
	for i := range n {
		t.write(writer, unit, fmt.Sprintf("%d: hum at full volume is gone after the second filter capacitor, recheck at handover", i))
		committed := time.Now()
		t.waitFor(reader, countOf(writer))
		took = append(took, time.Since(committed).Seconds())
		if between != nil {
			between()
		}
	}
	return took
}

// write notes something about a unit.
func (t *turn) write(l *eventlog.Log, unit events.UnitID, text string) {
	t.check(l.Append(t.within(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: unit, At: events.OnDay(asOf), Body: events.Note{Text: text}})
		return err
	}))
}

// waitFor waits until a log has so many events.
func (t *turn) waitFor(l *eventlog.Log, n int) {
	late := time.After(30 * time.Second)
	for {
		changed := l.Changed()
		if countOf(l) >= n {
			return
		}
		select {
		case <-changed:
		case <-late:
			t.Fatalf("after half a minute %d of %d events are here", countOf(l), n)
		}
	}
}

// countOf is how many events a log has.
func countOf(l *eventlog.Log) (n int) {
	for _, h := range l.Heads() {
		n += int(h.Seq)
	}
	return n
}

// sameHeads demands that two logs have the same events.
func (t *turn) sameHeads(one, other *eventlog.Log) {
	if !slices.Equal(one.Heads(), other.Heads()) {
		t.Fatalf("after a meeting two benches hold different events")
	}
}
