package replicate_test

import (
	"bytes"
	"testing"

	"oldhand/events"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// Each reason for keeping a segment aside, what the segment is, and what cures
// it, if anything does.
func TestEachReasonAndItsCure_P10(t *testing.T) {
	type world struct {
		s    *shop
		a, b *desk
		h    events.Head
	}
	next := func(w world) []byte { return w.s.sealed(w.a.key, w.a.run(w.h.Feed)[w.h.Seq-1:]) }
	before := func(w world) []byte { return w.s.sealed(w.a.key, w.a.run(w.h.Feed)[:w.h.Seq-1]) }
	whole := func(w world) []byte { return w.s.sealed(w.a.key, w.a.run(w.h.Feed)) }
	stranger := func(w world) *desk {
		d := w.s.bench(9)
		d.say(w.s.facts...)
		return d
	}
	for name, c := range map[string]struct {
		why     replicate.Why
		segment func(world) (*desk, []byte)
		cure    func(world, *desk)
	}{
		"gap": {replicate.WhyGap, func(w world) (*desk, []byte) { return w.a, next(w) },
			func(w world, _ *desk) { w.b.takes(before(w), 0) }},
		"unknown": {replicate.WhyUnknown, func(w world) (*desk, []byte) {
			d := stranger(w)
			return d, w.s.sealed(d.key, d.run(d.note("hello").Feed))
		}, func(w world, d *desk) { w.b.say(must(w.s.owner.Admit(w.s.id, d.id, "late", 9))) }},
		"beyond the cut": {replicate.WhyUnknown, func(w world) (*desk, []byte) {
			w.b.retire(w.a)
			return w.a, whole(w)
		}, func(w world, _ *desk) {
			w.b.say(must(w.s.owner.Release(w.s.id, w.a.id, []events.Head{w.h}, "honest work")))
		}},
		"no key": {replicate.WhyNoKey, func(w world) (*desk, []byte) {
			evs := w.a.run(w.h.Feed)
			end := must(w.a.key.SignHead(w.s.id, w.h))
			return w.a, must(segment.Seal(w.s.id, 2, segment.Key{2}, evs, end, w.a.random))
		}, func(w world, _ *desk) { w.b.say(must(w.s.owner.SetKey(w.s.id, 2, events.ShopKey{2}, w.b.id))) }},
		"another key of the epoch": {replicate.WhyNoKey, func(w world) (*desk, []byte) {
			evs := w.a.run(w.h.Feed)
			end := must(w.a.key.SignHead(w.s.id, w.h))
			return w.a, must(segment.Seal(w.s.id, 1, segment.Key{7}, evs, end, w.a.random))
		}, func(w world, _ *desk) { w.b.say(must(w.s.owner.SetKey(w.s.id, 1, events.ShopKey{7}, w.b.id))) }},
		"newer": {replicate.WhyNewer, func(w world) (*desk, []byte) {
			b := whole(w)
			b[7]++
			return w.a, b
		}, nil},
		"fork": {replicate.WhyFork, func(w world) (*desk, []byte) {
			w.b.takes(whole(w), 0)
			evs := w.a.run(w.h.Feed)
			return w.a, w.s.sealed(w.a.key, []events.Event{forge(evs[w.h.Seq-2].Head(), "other")})
		}, nil},
		"bad": {replicate.WhyBad, func(w world) (*desk, []byte) { return w.a, []byte("no segment at all") }, nil},
		"another shop's": {replicate.WhyBad, func(w world) (*desk, []byte) {
			other := newShop(t, 900, 1)
			return w.a, other.desks[0].seal(other.desks[0].log.Heads()[0].Feed, 0)
		}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, uint64(100+len(name)), 2)
			w := world{s, s.desks[0], s.desks[1], s.desks[0].note("one")}
			of, b := c.segment(w)
			w.b.takes(b, c.why)
			w.b.restart() // what is aside outlives the program
			list := must(w.b.b.Inbox.Aside())
			if len(list) != 1 || list[0].Why != c.why || list[0].Words == "" || !bytes.Equal(list[0].Bytes, b) {
				t.Fatalf("aside %+v", list)
			}
			if c.cure == nil {
				return
			}
			c.cure(w, of)
			h := of.has(of.log.Heads()[0].Feed)
			w.b.wants(h)
			if list := must(w.b.b.Inbox.Aside()); len(list) > 0 {
				t.Errorf("cured, and aside %+v", list)
			}
		})
	}
}
