package replicate_test

import (
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// uncounted is what a desk holds of a retired bench that does not count.
func (d *desk) uncounted(of *desk) (u replicate.Uncounted) {
	d.shop.t.Helper()
	list, err := d.b.Inbox.Uncounted(of.id)
	d.ok(err)
	if len(list) > 1 {
		d.shop.t.Fatalf("%d feeds, want one", len(list))
	}
	if len(list) == 1 {
		u = list[0]
	}
	return u
}

func (u *wantUncounted) check(t *testing.T, got replicate.Uncounted) {
	t.Helper()
	var ends []uint64
	n := 0
	for _, p := range got.Pieces {
		ends = append(ends, p.End.Seq)
		n += p.Events
	}
	if !slices.Equal(ends, u.ends) || n != u.events || got.Waiting != u.waiting || got.Forked != u.forked {
		t.Errorf("pieces end at %v with %d events, %d wait, forked %v; want %+v", ends, n, got.Waiting, got.Forked, *u)
	}
}

type wantUncounted struct {
	ends    []uint64
	events  int
	waiting int
	forked  bool
}

// release is the owner's word that a bench counts up to heads after all.
func (d *desk) release(of *desk, upTo ...events.Head) {
	d.shop.t.Helper()
	d.say(must(d.shop.owner.Release(d.shop.id, of.id, upTo, "found again")))
}

// What came before the bench was retired lies in the log behind the cut, what
// came after lies aside, in whatever order: one chain, that counts when an owner
// says so, on a bench that heard of the word first as well.
func TestWhatARetiredBenchWroteCountsWhenAnOwnerSaysSo_P12(t *testing.T) {
	s := newShop(t, 21, 3)
	owner, sold, fresh := s.desks[0], s.desks[1], s.desks[2]
	cut := sold.note("one")
	owner.takes(s.sealed(sold.key, sold.run(cut.Feed)), 0)
	behind := sold.note("two")
	owner.takes(s.sealed(sold.key, sold.run(cut.Feed)[cut.Seq:]), 0)
	owner.retire(sold, cut)
	sold.note("three")
	end := sold.note("four")
	evs := sold.run(cut.Feed)
	third, fourth := s.sealed(sold.key, evs[behind.Seq:end.Seq-1]), s.sealed(sold.key, evs[end.Seq-1:])
	owner.takes(fourth, replicate.WhyGap)
	(&wantUncounted{ends: []uint64{behind.Seq}, events: int(behind.Seq - cut.Seq), waiting: 1}).check(t, owner.uncounted(sold))
	owner.takes(third, replicate.WhyUnknown)
	(&wantUncounted{ends: []uint64{behind.Seq, end.Seq - 1, end.Seq}, events: int(end.Seq - cut.Seq)}).check(t, owner.uncounted(sold))

	fresh.retire(sold, cut)
	fresh.release(sold, end)
	owner.release(sold, end)
	owner.wants(end)
	fresh.takes(fourth, replicate.WhyGap)
	fresh.takes(s.sealed(sold.key, evs[:behind.Seq]), replicate.WhyUnknown)
	came, err := fresh.b.Bundle(third, 0)
	if err != nil {
		t.Fatal(err)
	}
	fresh.wants(end)
	(&wantUncounted{}).check(t, owner.uncounted(sold))
	if cuts := owner.log.Cuts(); len(cuts) > 0 {
		t.Errorf("cuts %v are left (%+v)", cuts, came)
	}
}

// Two branches of a retired bench's feed: nobody here can say which is the
// bench's own.
func TestF25_TwoBranchesOfARetiredBenchAreSaidToBeTwo(t *testing.T) {
	owner, sold, _, cut := cutInside(t, 22)
	s := owner.shop
	evs := sold.run(cut.Feed)
	more := evs[cut.Seq:]
	owner.takes(s.sealed(sold.key, more), replicate.WhyUnknown)
	(&wantUncounted{ends: []uint64{more[len(more)-1].Seq}, events: len(more)}).check(t, owner.uncounted(sold))
	first := forge(cut, "nothing was wrong")
	owner.takes(s.sealed(sold.key, []events.Event{first, forge(first.Head(), "nor here")}), replicate.WhyUnknown)
	if u := owner.uncounted(sold); !u.Forked {
		t.Errorf("%+v, want it forked", u)
	}
	// The bench's own branch counts when it is named, whatever else lies aside.
	owner.release(sold, more[len(more)-1].Head())
	owner.wants(more[len(more)-1].Head())
}
