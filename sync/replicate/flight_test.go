package replicate

import (
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// slow is a log that commits several batches when it is let to, and says when it was
// asked to.
type slow struct {
	Log
	begun chan int // how many batches
	let   chan error
}

func (s slow) ReceiveAll(batches []eventlog.Batch, marks []Mark) error {
	s.begun <- len(batches)
	return errors.Join(<-s.let, s.Log.ReceiveAll(batches, marks))
}

// visits are segments of a bench's feed, as another takes them.
func visits(t *testing.T, s eventstest.Shop, n int) (segments []eventlog.Batch) {
	t.Helper()
	from := eventstest.Open(t, s.Bench(t, 1).Options(vfs.NewMem(), "from"))
	after := uint64(0)
	for range n {
		eventstest.SaveVisit(t, from)
		moved, _ := from.Moved(0)
		evs, head, err := OnLog(from).Run(moved[0].Branch, after)
		if err != nil {
			t.Fatal(err)
		}
		segments, after = append(segments, eventlog.Batch{Events: evs, Heads: []events.SignedHead{head}}), head.Seq
	}
	return segments
}

// What is being handed on counts as held until it is known what came of it, and what
// goes on behind it is held meanwhile. Then all of it is in the log, and in order.
func TestWhatFliesIsHeldUntilItLands_P2(t *testing.T) {
	s := eventstest.FoundShop(t, 36)
	l := eventstest.Open(t, s.Bench(t, 2).Options(vfs.NewMem(), "to"))
	log := slow{OnLog(l), make(chan int, 9), make(chan error, 9)}
	h := &holding{Log: log, on: true, tips: map[events.FeedID]events.Head{}}
	take := func(b eventlog.Batch) {
		t.Helper()
		if err := h.Receive(b.Events, b.Heads, nil); err != nil {
			t.Fatal(err)
		}
	}
	all := visits(t, s, 5)
	first := eventlog.First(all[0].Heads[0].Feed)
	reach := func(b eventlog.Batch) {
		t.Helper()
		want := b.Heads[0].Head
		if r, ok := h.Reach(first); !ok || r.Head != want {
			t.Errorf("it goes to %d, want %d", r.Head.Seq, want.Seq)
		}
		if on, ok, err := h.Find(want); err != nil || !ok || on != first {
			t.Errorf("its end is found: %v, %v", ok, err)
		}
	}
	take(all[0])
	h.events = mostHeld // as after many
	take(all[1])
	if n := <-log.begun; n != 2 {
		t.Fatalf("%d batches fly", n)
	}
	reach(all[1])
	if heads := l.Heads(); len(heads) > 0 {
		t.Fatalf("the log has %v before it was let", heads)
	}
	take(all[2]) // held meanwhile
	reach(all[2])
	if !(&Bench{held: h}).Holds() {
		t.Error("nothing is held")
	}
	h.events = mostHeld
	log.let <- nil
	take(all[3]) // the first has to land before the next flies
	if n := <-log.begun; n != 2 {
		t.Fatalf("then %d batches fly", n)
	}
	if heads := l.Heads(); len(heads) != 1 || heads[0] != all[1].Heads[0].Head {
		t.Errorf("the log ends at %v", heads)
	}
	if !(&Bench{held: h}).Holds() {
		t.Error("what flies is not held")
	}
	log.let <- nil
	if moved, _ := h.Moved(0); len(moved) != 1 || moved[0].Head != all[3].Heads[0].Head {
		t.Errorf("moved: %v", moved)
	}
	if h.flight != nil {
		t.Error("what moved was asked of a log that may be ahead by the next moment")
	}
	take(all[4])
	log.let <- nil
	if err := h.hold(false); err != nil {
		t.Fatal(err)
	}
	if heads := l.Heads(); len(heads) != 1 || heads[0] != all[4].Heads[0].Head {
		t.Errorf("in the end the log ends at %v", heads)
	}
	if (&Bench{held: h}).Holds() {
		t.Error("something is held still")
	}
}

// What did not land is said by whatever comes next, and nothing that was held behind it
// is handed on.
func TestNothingIsHandedOnBehindWhatDidNotLand_P2(t *testing.T) {
	s := eventstest.FoundShop(t, 37)
	l := eventstest.Open(t, s.Bench(t, 2).Options(vfs.NewMem(), "to"))
	all := visits(t, s, 3)
	for what, next := range map[string]func(h *holding) error{
		"the end":  func(h *holding) error { return h.hold(false) },
		"a flight": func(h *holding) error { h.events = mostHeld; return h.Receive(all[2].Events, all[2].Heads, nil) },
	} {
		log := slow{full{OnLog(l)}, make(chan int, 9), make(chan error, 9)}
		h := &holding{Log: log, on: true, tips: map[events.FeedID]events.Head{}, events: mostHeld}
		if err := errors.Join(h.Receive(all[0].Events, all[0].Heads, nil), h.Receive(all[1].Events, all[1].Heads, nil)); err != nil {
			t.Fatal(err)
		}
		log.let <- nil
		if err := next(h); !errors.Is(err, errFull) {
			t.Errorf("%s: %v", what, err)
		}
		if <-log.begun; len(log.begun) > 0 {
			t.Errorf("%s: more was handed on", what)
		}
		if err := h.hold(false); !errors.Is(err, errFull) {
			t.Errorf("%s: later it is %v", what, err)
		}
	}
}
