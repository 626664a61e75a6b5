package replicate_test

import (
	"bytes"
	"testing"

	"oldhand/events"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// keeping is a shop with a bench that sends, at an event, and one that reads.
type keeping struct {
	s    *shop
	a, b *desk
	h    events.Head
}

// parts of the sender's feed: its last event alone, all before it, and all.
func (w keeping) last() []byte   { return w.s.sealed(w.a.key, w.a.run(w.h.Feed)[w.h.Seq-1:]) }
func (w keeping) before() []byte { return w.s.sealed(w.a.key, w.a.run(w.h.Feed)[:w.h.Seq-1]) }
func (w keeping) whole() []byte  { return w.s.sealed(w.a.key, w.a.run(w.h.Feed)) }

// under is all of it, sealed with another key.
func (w keeping) under(epoch uint32, secret byte) []byte { return w.behind(0, epoch, secret) }

// behind is what comes behind an event, sealed with another key.
func (w keeping) behind(after uint64, epoch uint32, secret byte) []byte {
	end := must(w.a.key.SignHead(w.s.id, w.h))
	return must(segment.Seal(w.s.id, epoch, segment.Key{secret}, w.a.run(w.h.Feed)[after:w.h.Seq], end, w.a.random))
}

// reasons are those for keeping a segment aside: a segment with whose it is, and
// what cures it, if anything does.
var reasons = map[string]struct {
	why     replicate.Why
	segment func(keeping) (*desk, []byte)
	cure    func(keeping, *desk)
}{
	"gap": {replicate.WhyGap, func(w keeping) (*desk, []byte) { return w.a, w.last() },
		func(w keeping, _ *desk) { w.b.takes(w.before(), 0) }},
	"unknown": {replicate.WhyUnknown, func(w keeping) (*desk, []byte) {
		d := w.s.bench(9)
		d.say(w.s.facts...)
		return d, w.s.sealed(d.key, d.run(d.note("hello").Feed))
	}, func(w keeping, d *desk) { w.b.say(must(w.s.owner.Admit(w.s.id, d.id, "late", 9))) }},
	"beyond the cut": {replicate.WhyUnknown, func(w keeping) (*desk, []byte) {
		w.b.retire(w.a)
		return w.a, w.whole()
	}, func(w keeping, _ *desk) {
		w.b.say(must(w.s.owner.Release(w.s.id, w.a.id, []events.Head{w.h}, "honest work")))
	}},
	"no key": {replicate.WhyNoKey, func(w keeping) (*desk, []byte) {
		return w.a, w.under(2, 2)
	}, func(w keeping, _ *desk) { w.b.say(must(w.s.owner.SetKey(w.s.id, 2, events.ShopKey{2}, w.b.id))) }},
	"another key of the epoch": {replicate.WhyNoKey, func(w keeping) (*desk, []byte) {
		return w.a, w.under(1, 7)
	}, func(w keeping, _ *desk) { w.b.say(must(w.s.owner.SetKey(w.s.id, 1, events.ShopKey{7}, w.b.id))) }},
	"newer": {replicate.WhyNewer, func(w keeping) (*desk, []byte) {
		b := w.whole()
		b[7]++
		return w.a, b
	}, nil},
	"bad": {replicate.WhyBad, func(w keeping) (*desk, []byte) { return w.a, []byte("no segment at all") }, nil},
	"another shop's": {replicate.WhyBad, func(w keeping) (*desk, []byte) {
		other := newShop(w.s.t, 900, 1)
		return w.a, other.desks[0].seal(other.desks[0].log.Heads()[0].Feed, 0)
	}, nil},
}

func TestEachReasonAndItsCure_P10(t *testing.T) {
	for name, c := range reasons {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, uint64(100+len(name)), 2)
			w := keeping{s, s.desks[0], s.desks[1], s.desks[0].note("one")}
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

// A piece that waits comes again by itself after what it waited for, before it was tried
// again: it is taken, and not kept aside any more.
func TestWhatIsKeptAsideAndComesAgainIsAsideNoMore_P10(t *testing.T) {
	s := newShop(t, 120, 2)
	w := keeping{s, s.desks[0], s.desks[1], s.desks[0].note("one")}
	w.b.takes(w.last(), replicate.WhyGap)
	for _, b := range [][]byte{w.before(), w.last()} {
		came, err := w.b.b.Inbox.Take(b, 0, nil)
		if w.b.ok(err); came.Took == 0 {
			t.Fatalf("it came as %+v", came)
		}
	}
	w.b.wants(w.h)
	for _, when := range []string{"then", "after a start anew"} {
		if list := must(w.b.b.Inbox.Aside()); len(list) > 0 {
			t.Errorf("%s aside are %+v", when, list)
		}
		w.b.restart()
	}
}
