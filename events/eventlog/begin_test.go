package eventlog_test

import (
	"errors"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventstest"
)

// The other life of a laptop that was put back: the last event of the feed its
// copy ends in, and the feed that life began after a start of the machine.
func otherLife(t *testing.T, seed uint64) (p *laptop, old events.Event, lost [][]events.Event) {
	t.Helper()
	p = newLaptop(t, seed)
	p.open()
	old = p.note("a")
	closeLog(t, p.log)
	backup := p.backUp()
	p.open()
	p.note("b")
	closeLog(t, p.log)
	p.boot = "second start"
	p.open()
	last := p.note("c")
	v, err := p.log.View()
	if err != nil {
		t.Fatal(err)
	}
	lost = [][]events.Event{eventstest.Feed(t, v, old.Feed), eventstest.Feed(t, v, last.Feed)}
	v.Close()
	closeLog(t, p.log)
	p.putBack(backup)
	p.bench.Clock.Move(time.Hour)
	p.open()
	return p, old, lost
}

// giveBack has the laptop take feeds of its own.
func (p *laptop) giveBack(feeds [][]events.Event) (last events.Event) {
	p.t.Helper()
	for _, evs := range feeds {
		last = evs[len(evs)-1]
		if err := p.log.Receive(p.t.Context(), evs, []events.SignedHead{signedAt(p.t, p.bench, last)}); err != nil {
			p.t.Fatal(err)
		}
	}
	return last
}

func TestF10_PutBackAndGivenItsPastAgainGoesOnBehindThatPast(t *testing.T) {
	p, _, lost := otherLife(t, 83)
	last := p.giveBack(lost)
	e := p.note("d")
	if b := p.begun(e.Feed); b.Parent != last.Head() {
		t.Errorf("the parent is event %d of %s, want the last of what came back, %d of %s",
			b.Parent.Seq, b.Parent.Feed.Short(), last.Seq, last.Feed.Short())
	}
	mustBe(t, p.log, 3)
}

// A branch that was written before the other life came back stays one, and
// what this bench writes later stands behind what it wrote itself.
func TestF10_BranchWrittenBeforeThePastCameBackStaysABranch(t *testing.T) {
	p, old, lost := otherLife(t, 84)
	branch := p.note("d")
	p.giveBack(lost)
	if b := p.begun(branch.Feed); b.Parent != old.Head() {
		t.Errorf("the branch's parent is %+v, want the head of the copy", b.Parent)
	}
	closeLog(t, p.log)
	p.boot = "third start"
	p.open()
	e := p.note("e")
	if b := p.begun(e.Feed); b.Parent != branch.Head() {
		t.Errorf("the parent is event %d of %s, want what was written here last", b.Parent.Seq, b.Parent.Feed.Short())
	}
}

// A folder that never wrote may hold its bench's past, from an export or as
// the invented shop's does, and feeds of others before it.
func TestFolderThatReceivedItsBenchsPastGoesOnBehindIt(t *testing.T) {
	p, _, lost := otherLife(t, 85)
	fresh := newLaptop(t, 85)
	fresh.bench.Random = eventstest.Seeded(1085)
	fresh.bench.Clock = p.bench.Clock
	fresh.open()
	others, _ := bench2(t, eventstest.FoundShop(t, 85))
	if err := fresh.log.Receive(t.Context(), others.evs, []events.SignedHead{others.head}); err != nil {
		t.Fatal(err)
	}
	last := fresh.giveBack(lost)
	e := fresh.note("d")
	if b := fresh.begun(e.Feed); b.Parent != last.Head() {
		t.Errorf("the parent is event %d of %s, want %d of %s", b.Parent.Seq, b.Parent.Feed.Short(), last.Seq, last.Feed.Short())
	}
}

// What is odd about the feed of another bench says nothing of this one, also
// where it never wrote and the other's feed is the store's first.
func TestF12_ForkOfAnothersFeedIsNoneOfThisBenchs(t *testing.T) {
	shop := eventstest.FoundShop(t, 86)
	others, b := bench2(t, shop)
	l := receiver(t, shop)
	if err := l.Receive(t.Context(), others.evs, []events.SignedHead{others.head}); err != nil {
		t.Fatal(err)
	}
	n := len(others.evs)
	fork := forge(t, others.evs[n-2], others.evs[n-1], "fork")
	err := l.Receive(t.Context(), []events.Event{fork}, []events.SignedHead{signedAt(t, b, fork)})
	var r *events.Refused
	if !errors.As(err, &r) {
		t.Fatalf("a fork was taken: %v", err)
	}
	wantNext(t, l, 1)
}
