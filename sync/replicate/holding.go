package replicate

import (
	"cmp"
	"errors"
	"fmt"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
)

// holding is a log that may keep what it receives for a while before it hands it
// on, so that many segments share one commit: a commit's cost hardly depends on
// how much is in it. What is kept is here for whoever asks by the holding how far
// a feed goes; for any other question it is handed on first. Nothing of it is
// durable, and nobody else sees it, until it was.
//
// Only events that go on where a feed's first branch ends are kept so. It is for
// one goroutine.
type holding struct {
	Log
	on     bool
	most   int // events held at most where histories wait; zero is mostHeld
	held   []eventlog.Batch
	marks  []Mark
	events int
	bytes  int   // of records and marks
	since  int64 // when holding began, on the bench's clock
	now    int64
	tips   map[events.FeedID]events.Head // how far feeds go with what is held
	err    error                         // what is held could not be handed on: what was said of it is not so

	flight *flight // what is being handed on meanwhile, or nil
}

// flight is what is handed on by a goroutine of its own while what comes next is looked
// at. It is held like the rest until it is known what came of it.
type flight struct {
	tips map[events.FeedID]events.Head
	end  chan error
}

// How much is held at most. Where histories and tallies follow each event, nobody
// else's action is made meanwhile, and a commit must not take long; where they wait, a
// larger one is cheaper up to some ten thousand, and flies. A slow exchange must not keep
// what came out of the log for long.
const (
	mostHeldFollowed = 2_000
	mostHeld         = 32_000
	mostHeldBytes    = 16 << 20
	mostHeldMillis   = 1_000
)

// hold says whether what comes next may be held.
func (h *holding) hold(on bool) error {
	h.on = on
	if on {
		return h.err
	}
	return h.settle()
}

// settle hands on what is held, all or nothing.
func (h *holding) settle() error {
	if err := h.land(); err != nil || len(h.held) == 0 && len(h.marks) == 0 {
		return err
	}
	h.handedOn(h.Log.ReceiveAll(h.held, h.marks))
	h.empty()
	return h.err
}

// fly has what is held handed on while what comes next is looked at. One such is under
// way at a time.
func (h *holding) fly() error {
	if err := h.land(); err != nil {
		return err
	}
	f, held, marks := &flight{tips: h.tips, end: make(chan error, 1)}, h.held, h.marks
	go func() { f.end <- h.Log.ReceiveAll(held, marks) }()
	h.flight = f
	h.empty()
	return nil
}

// land waits until it is known what came of what is being handed on.
func (h *holding) land() error {
	if h.flight != nil {
		h.handedOn(<-h.flight.end)
		if h.flight = nil; h.err != nil {
			h.empty() // nothing of it can come behind what did not
		}
	}
	return h.err
}

func (h *holding) handedOn(err error) {
	var refused *events.Refused
	switch {
	case errors.As(err, &refused):
		// The log grew by other means meanwhile. It says nothing of the segment
		// that is being looked at.
		h.err = fmt.Errorf("hand on what was held: %v", err)
	case err != nil:
		h.err = fmt.Errorf("hand on what was held: %w", err)
	}
}

func (h *holding) empty() {
	h.held, h.marks, h.events, h.bytes, h.tips = nil, nil, 0, 0, map[events.FeedID]events.Head{}
}

// tip is how far a feed goes with what is held; false where nothing of it is.
func (h *holding) tip(f events.FeedID) (events.Head, bool) {
	tip, held := h.tips[f]
	if !held && h.flight != nil {
		tip, held = h.flight.tips[f]
	}
	return tip, held
}

// Receive holds what goes on where its feed ends, or hands it on with all that is
// held.
func (h *holding) Receive(evs []events.Event, heads []events.SignedHead, marks []Mark) error {
	if !h.on || len(evs) > 0 && !h.goesOn(evs[0], heads) {
		if err := h.settle(); err != nil {
			return err
		}
		return h.Log.Receive(evs, heads, marks)
	}
	if h.err != nil {
		return h.err
	}
	if planted.Bug("marks do not wait for what is held") {
		if err := h.Log.Receive(nil, nil, marks); err != nil {
			return err
		}
		marks = nil
	}
	if len(h.held) == 0 && len(h.marks) == 0 {
		h.since = h.now
	}
	h.marks = append(h.marks, marks...)
	for _, m := range marks {
		h.bytes += len(m.Key) + len(m.Value)
	}
	if len(evs) > 0 {
		h.held = append(h.held, eventlog.Batch{Events: evs, Heads: heads})
		h.events += len(evs)
		for _, e := range evs {
			h.bytes += len(e.Record)
		}
		last := evs[len(evs)-1]
		h.tips[last.Feed] = last.Head()
	}
	switch {
	case h.events >= cmp.Or(h.most, mostHeld) && !h.Log.Follows():
		return h.fly()
	case h.full():
		return h.settle()
	}
	return nil
}

func (h *holding) full() bool {
	most := cmp.Or(h.most, mostHeld)
	if h.Log.Follows() {
		most = mostHeldFollowed
	}
	return h.events >= most || h.bytes >= mostHeldBytes || h.now-h.since >= mostHeldMillis
}

// goesOn reports whether an event follows where the first branch of its feed ends,
// with what is held.
func (h *holding) goesOn(e events.Event, heads []events.SignedHead) bool {
	at, _ := h.Reach(eventlog.First(e.Feed))
	at.Head.Feed = e.Feed
	return len(heads) == 1 && e.Follows(at.Head) && e.Seq == at.Head.Seq+1
}

func (h *holding) ReceiveBranch(evs []events.Event, heads []events.SignedHead, marks []Mark) error {
	if err := h.settle(); err != nil {
		return err
	}
	return h.Log.ReceiveBranch(evs, heads, marks)
}

// Reach counts what is held.
func (h *holding) Reach(b eventlog.Branch) (eventlog.Reach, bool) {
	r, ok := h.Log.Reach(b)
	if tip, held := h.tip(b.Feed); held && b == eventlog.First(b.Feed) {
		r.Branch, r.Head, ok = b, tip, true
	}
	return r, ok
}

// Moved counts what is held for branches that moved by other means. What was held
// itself is known to whoever took it.
func (h *holding) Moved(since uint64) ([]eventlog.Reach, uint64) {
	_ = h.land() // so that what moved does not depend on the moment; whoever hands on next is told of an error
	moved, mark := h.Log.Moved(since)
	for i, r := range moved {
		moved[i], _ = h.Reach(r.Branch)
	}
	return moved, mark
}

// Find knows where a feed ends with what is held.
func (h *holding) Find(at events.Head) (eventlog.Branch, bool, error) {
	switch tip, held := h.tip(at.Feed); {
	case held && tip == at:
		return eventlog.First(at.Feed), true, nil
	case held:
		if err := h.settle(); err != nil {
			return eventlog.Branch{}, false, err
		}
	}
	return h.Log.Find(at)
}

func (h *holding) Run(b eventlog.Branch, after uint64) ([]events.Event, events.SignedHead, error) {
	if err := h.settle(); err != nil {
		return nil, events.SignedHead{}, err
	}
	return h.Log.Run(b, after)
}

func (h *holding) Along(first uint64, to events.Head) ([]eventlog.Stretch, error) {
	if err := h.settle(); err != nil {
		return nil, err
	}
	return h.Log.Along(first, to)
}

func (h *holding) Kinds(b eventlog.Branch, after uint64, fn func(events.Kind) bool) error {
	if err := h.settle(); err != nil {
		return err
	}
	return h.Log.Kinds(b, after, fn)
}

func (h *holding) Facts() ([]events.Event, error) {
	if err := h.settle(); err != nil {
		return nil, err
	}
	return h.Log.Facts()
}

func (h *holding) SetCuts(cuts map[eventlog.Branch]uint64, retired bool) error {
	if err := h.settle(); err != nil {
		return err
	}
	return h.Log.SetCuts(cuts, retired)
}

func (h *holding) Marks(prefix []byte, fn func(k, v []byte) error) error {
	if err := h.settle(); err != nil {
		return err
	}
	return h.Log.Marks(prefix, fn)
}

// HoldMost says how many events are held at most, where histories and tallies wait;
// zero is some ten thousand.
func (b *Bench) HoldMost(events int) { b.held.most = events }

// Hold lets what comes wait in memory, so that many messages share one commit: for
// whoever knows that more lie ready. What was taken is durable, and seen by others, only
// after Hold(false), and an error of that, or of any later call, says that it is not: the
// bench is of no use then, and a new one reads the messages again. Now is on the clock
// that Message is told.
func (b *Bench) Hold(on bool, now int64) error {
	b.held.now = now
	return b.held.hold(on)
}

// Holds reports whether anything is held.
func (b *Bench) Holds() bool {
	return len(b.held.held) > 0 || len(b.held.marks) > 0 || b.held.flight != nil
}
