package benchtest

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Heal ends all faults, lets everybody meet until nothing more happens, and
// checks that nothing is lost anywhere (P4), that all know that (P9), and that
// an exchange alone, and a stick alone, would fill a new bench (P8).
func (w *World) Heal() error {
	w.faults, w.healing = faults{}, true
	for _, l := range w.Laptops {
		l.trap.sprung()
	}
	want := map[events.Hash]bool{}
	for _, l := range w.working() {
		for b := range l.branches() {
			if err := l.each(b, 0, func(e events.Event) { want[e.Hash] = true }); err != nil {
				return err
			}
		}
	}
	w.tell("all heals")
	if err := w.together(2); err != nil {
		return err
	}
	if at := w.Laptops[0]; w.thief != nil && w.thief.id != at.ID && w.rng.IntN(2) == 0 { // it is found out at last
		if err := w.retire(at, &Laptop{Name: "the stolen one", ID: w.thief.id}); err != nil {
			return err
		}
	}
	for lack, times := true, 0; lack && times < 6; times++ {
		for _, l := range w.working()[:1+times*(len(w.working())-1)/5] { // at more and more of them, since some may have keys that no other has
			if err := w.share(l); err != nil {
				return err
			}
		}
		if err := w.together(2); err != nil {
			return err
		}
		var err error
		if lack, err = w.lackKeys(); err != nil {
			return err
		}
	}
	return w.check(want)
}

// lackKeys reports whether some laptop has segments that it can't read, as it
// tells its owner: a key may be needed to read of the next.
func (w *World) lackKeys() (bool, error) {
	for _, l := range w.working() {
		list, err := l.Bench.Inbox.Aside()
		if err != nil {
			return false, err
		}
		for _, a := range list {
			if _, err := w.open(a.Bytes); err == nil && a.Why == replicate.WhyNoKey {
				return true, nil
			}
		}
	}
	return false, nil
}

// working are the laptops that still belong to the shop.
func (w *World) working() (list []*Laptop) {
	for _, l := range w.Laptops {
		if !l.retired {
			list = append(list, l)
		}
	}
	return list
}

// together lets all meet each exchange in turn until they are at rest, or carry
// sticks where there is none, some times over.
func (w *World) together(times int) error {
	for range times {
		for _, x := range w.Exchanges {
			if err := w.settle(x); err != nil {
				return fmt.Errorf("exchange %s: %w", x.Epoch, err)
			}
		}
		if len(w.Exchanges) > 0 {
			continue
		}
		for _, from := range w.working() {
			stick, err := w.stick(from, nil)
			if err != nil {
				return err
			}
			for _, to := range w.working() {
				if err := w.plug(to, stick); stick != nil && err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// quiet is in how many rounds nothing may happen before all are at rest: longer
// than any pause that a bench makes.
const quiet = 6

func (w *World) settle(x *Model) error {
	for _, l := range w.Laptops {
		if err := errors.Join(w.part(l), w.meet(l, x)); err != nil {
			return err
		}
	}
	for round, idle := 0, 0; idle < quiet; round++ {
		if round > 400 {
			return fmt.Errorf("they do not come to rest: %s", w.standing())
		}
		last := x.last
		moved, err := w.round()
		if err != nil {
			return err
		}
		if idle++; moved || x.last != last {
			idle = 0
		}
	}
	return nil
}

// mostInARound is far more than a laptop has to read and to give at a time.
const mostInARound = 3000

// round lets every laptop read and do all it has.
func (w *World) round() (moved bool, err error) {
	for _, l := range w.Laptops {
		l.pass(3 * time.Second)
		if err := errors.Join(l.Bench.Grew(l.now()), l.Bench.Tick(l.now())); err != nil {
			return false, err
		}
		for n := 0; ; n++ {
			if n > mostInARound {
				return false, fmt.Errorf("%s does not come to rest: %s", l.Name, w.standing())
			}
			did, err := w.read(l)
			if err != nil {
				return false, err
			}
			moved = moved || did
			if did {
				continue
			}
			if !l.Bench.Busy() {
				break
			}
			if err := l.Bench.Do(faulty{w, l}, l.now); err != nil {
				return false, err
			}
		}
	}
	return moved, nil
}

func (w *World) check(want map[events.Hash]bool) error {
	r := w.Laptops[0].Bench.Inbox.Roster()
	inLogs := maps.Clone(want)
	for _, x := range w.Exchanges {
		w.add(want, x)
	}
	w.keepCounted(r, want)
	for _, l := range w.working() {
		if err := w.has(l, want); err != nil {
			return err
		}
		if err := errors.Join(l.holds(), w.audit(l), w.knows(l)); err != nil {
			return err
		}
	}
	for _, l := range w.working() {
		if err := w.same(r, l); err != nil {
			return fmt.Errorf("%w: %s", err, w.standing())
		}
	}
	return w.refill(inLogs)
}

// add adds what an exchange has to a set of events.
func (w *World) add(set map[events.Hash]bool, x *Model) {
	for _, m := range x.Readable() {
		if o, err := w.open(m.Payload); err == nil {
			for _, e := range eventsOf(o) {
				set[e.Hash] = true
			}
		}
	}
}

// keepCounted takes out of a set what does not count.
func (w *World) keepCounted(r roster.Roster, set map[events.Hash]bool) {
	maps.DeleteFunc(set, func(h events.Hash, _ bool) bool { return !w.counts(r, w.book.events[h].head) })
}

// has checks that a laptop holds events, in its log or aside as the other branch
// of a feed.
func (w *World) has(l *Laptop, want map[events.Hash]bool) error {
	held, err := w.held(l, true)
	if err != nil {
		return err
	}
	for h := range want {
		if e := w.book.events[h]; !held[h] {
			return fmt.Errorf("%s lacks event %d of feed %s, which somebody had (P4): %s", l.Name, e.head.Seq, e.head.Feed.Short(), w.standing())
		}
	}
	return nil
}

// same checks that a laptop's log ends where the first's does: every branch of
// every feed of benches at work (P4, P6), and of one that is retired what counts,
// where what an owner named is here (P12).
func (w *World) same(r roster.Roster, l *Laptop) error {
	first := w.Laptops[0]
	for _, pair := range [][2]*Laptop{{first, l}, {l, first}} {
		has, lacks := pair[0], pair[1]
		for b, reach := range has.branches() {
			if _, all := r.Counted(b.Feed); all && !lacks.has(reach.Head) {
				return fmt.Errorf("%s has feed %s to %d (%s), %s does not (P4)", has.Name, b.Feed.Short(), reach.Head.Seq, reach.Head.Hash.Short(), lacks.Name)
			}
		}
	}
	one, err := first.counted(r)
	if err != nil {
		return err
	}
	other, err := l.counted(r)
	if err == nil && !slices.Equal(one, other) {
		err = fmt.Errorf("at %s %v counts of feeds that are over, at %s %v (P12)", l.Name, short(other), first.Name, short(one))
	}
	return err
}

// counted is where what counts ends of feeds of benches that are retired.
func (l *Laptop) counted(r roster.Roster) ([]events.Head, error) {
	v, err := l.Log.View()
	if err != nil {
		return nil, err
	}
	defer v.Close()
	heads, err := v.CountedHeads()
	return slices.DeleteFunc(heads, func(h events.Head) bool {
		_, all := r.Counted(h.Feed)
		return all || slices.ContainsFunc(r.Heads(h.Feed), func(end events.Head) bool { return !l.has(end) })
	}), err
}

// knows checks that a laptop which has all says so, and one that knows of events
// which are nowhere any more says that (P9).
func (w *World) knows(l *Laptop) error {
	if len(w.Exchanges) == 0 {
		return nil
	}
	s := l.Bench.Standing()
	held, err := w.held(l, false)
	if err != nil {
		return err
	}
	for _, h := range s.Missing {
		at := h.Hash
		for at != (events.Hash{}) && held[at] {
			at = w.book.events[at].prev
		}
		if at == (events.Hash{}) {
			return fmt.Errorf("%s misses feed %s at %d, which it has: %s", l.Name, h.Feed.Short(), h.Seq, w.standing())
		}
	}
	list, err := l.Bench.Inbox.Aside()
	if err != nil {
		return err
	}
	sealed := false // perhaps with a key that all have lost
	for _, a := range list {
		sealed = sealed || a.Why == replicate.WhyNoKey
		for _, k := range l.Bench.Inbox.Ring().Of(a.Place.Epoch) {
			if _, err := segment.Open(a.Bytes, w.shop.id, func(uint32) (segment.Key, bool) { return segment.Key(k.Secret), true }); err == nil && a.Why == replicate.WhyNoKey {
				return fmt.Errorf("%s has the key of a segment that it keeps aside for want of it", l.Name)
			}
		}
	}
	if !s.Level && len(s.Missing) == 0 && !sealed {
		return fmt.Errorf("%s has all and does not know it: %s", l.Name, w.standing())
	}
	r := l.Bench.Inbox.Roster()
	for _, a := range list {
		if o, err := w.open(a.Bytes); err == nil && a.Why == replicate.WhyGap && w.counts(r, o.Head.Head) &&
			!slices.ContainsFunc(s.Missing, func(h events.Head) bool { return h.Feed == o.Feed && h.Seq >= o.Last }) {
			return fmt.Errorf("%s knows of event %d of feed %s, lacks what leads there, and does not say so (P9)", l.Name, o.Last, o.Feed.Short())
		}
	}
	return nil
}
