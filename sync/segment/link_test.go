package segment_test

import (
	"errors"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"
)

// A segment 3..6 of a feed of 8, behind each head there can be.
func TestASegmentGoesBehindAnyHeadThatItReaches_P3_F17(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 7)
	o := l.open(t, 3, 6)
	for at := range 9 {
		evs, err := o.Link(l.at(at))
		switch {
		case at < 2:
			if !errors.Is(err, segment.ErrGap) || evs != nil {
				t.Errorf("behind %d: %d events, %v, want ErrGap", at, len(evs), err)
			}
			continue
		case at > 6:
			if !errors.Is(err, segment.ErrPast) || evs != nil {
				t.Errorf("behind %d: %d events, %v, want ErrPast", at, len(evs), err)
			}
			continue
		}
		if err != nil || len(evs) != 6-at {
			t.Errorf("behind %d: %d events, %v", at, len(evs), err)
			continue
		}
		head := l.at(at)
		for _, e := range evs {
			if !e.Follows(head) {
				t.Errorf("behind %d: event %d does not follow %d", at, e.Seq, head.Seq)
			}
			head = e.Head()
		}
		if head != o.Head.Head {
			t.Errorf("behind %d it ends at %v, want %v", at, head, o.Head.Head)
		}
	}
}

func TestAnOverlapIsHeldAgainstTheHead_P6_F12(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 7)
	branch := l.fork(3).notes(t, "another life", 5) // parts at event 4
	o := branch.open(t, 3, 6)
	for at := 2; at <= 6; at++ {
		evs, err := o.Link(l.at(at))
		if at <= 3 {
			if err != nil || len(evs) != 6-at {
				t.Errorf("behind %d, before they part: %d events, %v", at, len(evs), err)
			}
			continue
		}
		var fork *segment.Fork
		if !errors.Is(err, segment.ErrFork) || !errors.As(err, &fork) || evs != nil {
			t.Errorf("behind %d: %d events, %v, want ErrFork", at, len(evs), err)
			continue
		}
		if *fork != (segment.Fork{Feed: l.feed, Seq: uint64(at), Here: l.at(at).Hash, There: branch.at(at).Hash}) {
			t.Errorf("behind %d: %+v", at, fork)
		}
		for _, h := range []events.Hash{fork.Here, fork.There} {
			if !strings.Contains(err.Error(), h.Short()) {
				t.Errorf("%q does not name %s", err, h.Short())
			}
		}
	}
	t.Run("at the hash before the first", func(t *testing.T) {
		if _, err := branch.open(t, 5, 6).Link(l.at(4)); !errors.Is(err, segment.ErrFork) {
			t.Errorf("got %v, want ErrFork", err)
		}
	})
	t.Run("a hash before there is any", func(t *testing.T) {
		if _, err := l.open(t, 1, 2).Link(events.Head{Feed: l.feed, Hash: events.Hash{1}}); !errors.Is(err, segment.ErrFork) {
			t.Errorf("got %v, want ErrFork", err)
		}
	})
	// Beyond its end a segment can't be held against the head; at its end it can.
	if _, err := o.Link(l.at(7)); !errors.Is(err, segment.ErrPast) {
		t.Errorf("behind 7: %v, want ErrPast", err)
	}
}

func TestASegmentGoesBehindItsOwnFeedOnly(t *testing.T) {
	shop := eventstest.FoundShop(t, 1)
	l, other := begin(t, shop, 1).notes(t, "hum", 3), begin(t, shop, 2).notes(t, "hum", 3)
	if evs, err := l.open(t, 2, 4).Link(other.at(1)); !errors.Is(err, segment.ErrMalformed) || evs != nil {
		t.Errorf("%d events, %v", len(evs), err)
	}
	if evs, err := (segment.Opened{}).Link(events.Head{}); !errors.Is(err, segment.ErrMalformed) || evs != nil {
		t.Errorf("nothing opened: %d events, %v", len(evs), err)
	}
}

// An opened segment is what a log takes: events and the head that covers them.
func TestALogReceivesWhatWasOpened_P4_P10(t *testing.T) {
	from, b, _ := eventstest.OnMem(t, 1)
	unit := eventstest.SaveVisit(t, from)
	eventstest.SaveNotes(t, from, unit, "measured again", 20)
	evs := eventstest.All(t, from)
	to := eventstest.Open(t, b.Shop.Bench(t, 2).InFolder(t.TempDir()))
	at := events.Head{Feed: evs[0].Feed}
	for _, cut := range [][2]int{{0, 10}, {4, len(evs)}} { // they overlap
		run := evs[cut[0]:cut[1]]
		head, err := b.Key.SignHead(b.Shop.ID, run[len(run)-1].Head())
		if err != nil {
			t.Fatal(err)
		}
		sealed, err := segment.Seal(b.Shop.ID, epoch, key, run, head, eventstest.Seeded(3))
		if err != nil {
			t.Fatal(err)
		}
		o, err := segment.Open(sealed, b.Shop.ID, keys)
		if err != nil {
			t.Fatal(err)
		}
		linked, err := o.Link(at)
		if err != nil {
			t.Fatal(err)
		}
		if err := to.Receive(t.Context(), linked, []events.SignedHead{o.Head}); err != nil {
			t.Fatal(err)
		}
		at = o.Head.Head
	}
	got := eventstest.All(t, to)
	if len(got) != len(evs) || got[len(got)-1].Hash != evs[len(evs)-1].Hash {
		t.Errorf("the other log has %d events of %d", len(got), len(evs))
	}
}
