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

// A bench that was retired had begun its log anew some times: its runs are listed one by
// one, always in the same order.
func TestTheRunsOfARetiredBenchAreListedInOrder_P12(t *testing.T) {
	s := newShop(t, 23, 2)
	owner, sold := s.desks[0], s.desks[1]
	owner.retire(sold)
	for range 6 {
		sold.restart()
		h := sold.note("on a run of its own")
		owner.takes(s.sealed(sold.key, sold.run(h.Feed)), replicate.WhyUnknown)
	}
	for range 3 {
		list, err := owner.b.Inbox.Uncounted(sold.id)
		owner.ok(err)
		if len(list) != 6 || !slices.IsSortedFunc(list, func(a, b replicate.Uncounted) int { return a.Feed.Compare(b.Feed) }) {
			t.Fatalf("%d runs: %v", len(list), list)
		}
	}
}

// Another bench took over the folder of one that was retired. What stands there behind
// the cut was signed for nobody, so that no owner can let it count by itself.
func TestWhatNothingProvesIsNoPiece_P12(t *testing.T) {
	s := newShop(t, 24, 2)
	heir, sold := s.desks[0], s.desks[1]
	cut := sold.note("one")
	signed, last := sold.note("two"), sold.note("three")
	behind := forge(last, "four")
	heir.ok(heir.log.Close())
	heir.ok(sold.log.Close())
	heir.disk = sold.disk
	heir.open()
	heir.retire(sold, cut)
	if u := heir.uncounted(sold); len(u.Pieces) > 0 || u.Forked {
		t.Fatalf("%+v, and no head was signed", u)
	}
	heir.takes(s.sealed(sold.key, []events.Event{behind}), replicate.WhyUnknown)
	(&wantUncounted{ends: []uint64{behind.Seq}, events: 1}).check(t, heir.uncounted(sold))
	heir.release(sold, behind.Head())
	heir.wants(behind.Head())
	if cuts := heir.log.Cuts(); len(cuts) > 0 {
		t.Errorf("cuts %v are left, with %v before", cuts, signed)
	}
}

// What counts and is not here may stand in a piece together with what does not count.
func TestAPieceOverTheCutIsListedBehindIt_P12(t *testing.T) {
	owner, sold, fresh, cut := cutInside(t, 25)
	s := owner.shop
	fresh.retire(sold, cut)
	end := sold.note("three")
	evs := sold.run(cut.Feed)
	fresh.takes(s.sealed(sold.key, evs[:2]), replicate.WhyUnknown)
	fresh.takes(s.sealed(sold.key, evs[2:]), replicate.WhyUnknown)
	(&wantUncounted{ends: []uint64{end.Seq}, events: int(end.Seq - cut.Seq)}).check(t, fresh.uncounted(sold))
	fresh.release(sold, end)
	fresh.wants(end)
}

// Who has the key of a retired bench signs a branch that parts before the cut and ends
// beyond it. Where the event at the cut is not here, or not on the branch that came
// first, it must not look like what goes on from there.
func TestF25_ABranchThatPartsBeforeTheCutIsNotTheBenchs_P12(t *testing.T) {
	for name, came := range map[string]func(s *shop, sold, d *desk, evs, theirs []events.Event, cut events.Head){
		"aside, and the cut is not here": func(s *shop, sold, d *desk, _, theirs []events.Event, cut events.Head) {
			d.retire(sold, cut)
			d.takes(s.sealed(sold.key, theirs[:2]), replicate.WhyUnknown)
			d.takes(s.sealed(sold.key, theirs[2:]), replicate.WhyUnknown)
		},
		"in the log, and the cut is not here": func(s *shop, sold, d *desk, _, theirs []events.Event, cut events.Head) {
			d.takes(s.sealed(sold.key, theirs), 0)
			d.retire(sold, cut)
		},
		"in the log, and the cut is on another branch": func(s *shop, sold, d *desk, evs, theirs []events.Event, cut events.Head) {
			d.takes(s.sealed(sold.key, theirs), 0)
			d.takes(s.sealed(sold.key, evs[:cut.Seq]), 0)
			d.retire(sold, cut)
		},
		"aside, behind an event that counts, and a later one is not here": func(s *shop, sold, d *desk, evs, theirs []events.Event, cut events.Head) {
			d.takes(s.sealed(sold.key, evs[:cut.Seq-1]), 0)
			d.retire(sold, evs[cut.Seq-2].Head())
			d.release(sold, cut)
			d.takes(s.sealed(sold.key, theirs[cut.Seq-1:]), replicate.WhyUnknown)
		},
	} {
		t.Run(name, func(t *testing.T) {
			owner, sold, fresh, cut := cutInside(t, 26)
			evs := sold.run(cut.Feed)
			theirs := slices.Clone(evs[:cut.Seq-1])
			for range 3 { // in the place of the cut, and two behind it
				theirs = append(theirs, forge(theirs[len(theirs)-1].Head(), "nothing was wrong"))
			}
			came(owner.shop, sold, fresh, evs, theirs, cut)
			if u := fresh.uncounted(sold); !u.Forked {
				t.Errorf("%+v, want it forked", u)
			}
		})
	}
}

// Who looks at a bench's log without what the bench was told when it joined may lack a
// key: what can't be read is not listed, and all else is.
func TestAPieceWhoseKeyIsNotHereIsPassedOver_P12(t *testing.T) {
	owner, sold, _, cut := cutInside(t, 27)
	s := owner.shop
	end := sold.note("three")
	evs := sold.run(cut.Feed)
	told := must(s.owner.SetKey(s.id, 2, events.ShopKey{2}, owner.id))
	owner.b = must(replicate.NewBench(replicate.OnLog(owner.log), s.id, owner.key, owner.random, told))
	owner.takes(s.sealed(sold.key, evs[cut.Seq:end.Seq-1]), replicate.WhyUnknown)
	owner.takes(keeping{s, sold, owner, end}.behind(end.Seq-1, 2, 2), replicate.WhyUnknown)
	all := &wantUncounted{ends: []uint64{end.Seq - 1, end.Seq}, events: int(end.Seq - cut.Seq)}
	all.check(t, owner.uncounted(sold))
	untold := must(replicate.Look(replicate.OnLog(owner.log), s.id, owner.key))
	list, err := untold.Uncounted(sold.id)
	if owner.ok(err); len(list) != 1 {
		t.Fatalf("listed are %+v", list)
	}
	(&wantUncounted{ends: all.ends[:1], events: all.events - 1}).check(t, list[0])
}
