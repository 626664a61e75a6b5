package benchtest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"time"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// faults says how often each thing goes wrong, in percent. A world has some of
// them, so that quiet ones and odd mixes both occur.
type faults struct {
	offline, unclear, busy, full   int
	crash, putBack, jump           int
	reset, rollBack, lose, garbage int
	bundle, long                   int
}

func drawFaults(rng *rand.Rand) (f faults) {
	for _, rate := range []*int{&f.offline, &f.unclear, &f.busy, &f.full, &f.crash, &f.putBack, &f.jump, &f.reset, &f.rollBack, &f.lose, &f.garbage, &f.bundle, &f.long} {
		if rng.IntN(2) == 0 {
			*rate = 1 + rng.IntN(20)
		}
	}
	f.reset, f.rollBack, f.lose = f.reset/4, f.rollBack/4, f.lose/4
	return f
}

func (w *World) happens(percent int) bool { return w.rng.IntN(100) < percent }

// Step lets one thing happen.
func (w *World) Step() error {
	l := w.Laptops[w.rng.IntN(len(w.Laptops))]
	l.pass(time.Duration(w.rng.IntN(2000)) * time.Millisecond)
	if err := w.fail(l); err != nil {
		return err
	}
	switch w.rng.IntN(6) {
	case 0:
		return w.work(l)
	case 1:
		if l.online {
			return nil
		}
		w.tell("%s meets the exchange", l.Name)
		return w.meet(l)
	case 2, 3:
		if !l.online {
			return nil
		}
		_, err := w.read(l)
		return err
	case 4:
		if !l.online {
			return nil
		}
		return l.Bench.Do(faulty{w, l}, l.now)
	}
	if at := l.Bench.WakeAt(); at > 0 && at <= l.now() {
		return l.Bench.Tick(l.now())
	}
	return l.Bench.Grew(l.now())
}

// work writes an action of some events.
func (w *World) work(l *Laptop) error {
	n := 1 + w.rng.IntN(4)
	if w.happens(w.faults.long) {
		n = 300 + w.rng.IntN(900)
	}
	var drafts []events.Draft
	for i := range n {
		drafts = append(drafts, events.Draft{About: unit, Body: events.Note{Text: fmt.Sprintf("%s %d %d", l.Name, w.rng.Uint32(), i)}})
	}
	w.tell("%s writes %d events", l.Name, n)
	return l.act(drafts...)
}

// fail lets something go wrong, or not.
func (w *World) fail(l *Laptop) error {
	switch f := w.faults; {
	case w.happens(f.offline):
		w.tell("%s loses the exchange", l.Name)
		l.online = false
		return l.Bench.Parted(l.now())
	case w.happens(f.crash):
		percent := []int{0, 25, 50, 100}[w.rng.IntN(4)]
		w.tell("%s crashes, keeping %d %% of what was not synced", l.Name, percent)
		if err := l.crash(rand.New(rand.NewPCG(w.rng.Uint64(), 3)), percent); err != nil {
			return err
		}
		return l.holds()
	case w.happens(f.putBack):
		return w.putBack(l)
	case w.happens(f.jump):
		l.clock = l.clock.AddDate(0, 0, w.rng.IntN(2000)-1000)
		w.tell("%s: the clock jumps to %s", l.Name, l.clock.Format(time.DateOnly))
	case w.happens(f.reset):
		w.tell("the exchange is made anew")
		w.Exchange.Reset()
		return w.part()
	case w.happens(f.rollBack):
		return w.rollBack()
	case w.happens(f.lose) && len(w.Exchange.Messages) > 0:
		i := w.rng.IntN(len(w.Exchange.Messages))
		w.tell("the exchange loses message %d", w.Exchange.Messages[i].Number)
		w.Exchange.Lose(i)
		return w.part()
	case w.happens(f.garbage):
		w.litter()
	case w.happens(f.bundle):
		return w.carry(l)
	}
	return nil
}

// part cuts everybody off the exchange, as its restart does.
func (w *World) part() error {
	for _, l := range w.Laptops {
		if l.online {
			l.online = false
			if err := l.Bench.Parted(l.now()); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *World) putBack(l *Laptop) error {
	if len(l.copies) == 0 || w.rng.IntN(2) == 0 {
		w.tell("%s: a copy of the disk is made", l.Name)
		l.backUp()
		return nil
	}
	i := w.rng.IntN(len(l.copies))
	w.tell("%s is put back to copy %d", l.Name, i)
	return l.putBack(i)
}

func (w *World) rollBack() error {
	if len(w.copies) == 0 || w.rng.IntN(2) == 0 {
		w.copies = append(w.copies, w.Exchange.Copy())
		return nil
	}
	i := w.rng.IntN(len(w.copies))
	w.tell("the exchange is put back to copy %d", i)
	w.Exchange.PutBack(w.copies[i])
	return w.part()
}

// litter puts something on a feed that is no part of it.
func (w *World) litter() {
	if len(w.Exchange.Messages) == 0 {
		return
	}
	some := func() replicate.Message { return w.Exchange.Messages[w.rng.IntN(len(w.Exchange.Messages))] }
	on, payload := some().Feed, bytes.Clone(some().Payload)
	switch w.rng.IntN(3) {
	case 0:
		payload[w.rng.IntN(len(payload))] ^= 1 << w.rng.IntN(8)
	case 1:
		payload = payload[:w.rng.IntN(len(payload))]
	}
	last, _ := w.Exchange.Last(on)
	w.tell("somebody litters feed %s behind %d", on.Short(), last.Number)
	w.Exchange.Publish(on, last.Number, payload)
}

// carry takes what a laptop has to another on a stick, from some number on.
func (w *World) carry(from *Laptop) error {
	to := w.Laptops[w.rng.IntN(len(w.Laptops))]
	w.tell("a stick goes from %s to %s", from.Name, to.Name)
	for _, h := range from.Log.Heads() {
		for after := uint64(0); after < h.Seq; {
			b, end, err := from.Bench.Seal(h.Feed, after)
			if err != nil {
				return err
			}
			after = end.Seq
			if w.rng.IntN(10) == 0 {
				continue // this one got lost
			}
			if _, err := to.Bench.Bundle(b, to.now()); err != nil {
				return err
			}
		}
	}
	return nil
}

// faulty is the exchange as a laptop reaches it.
type faulty struct {
	w *World
	l *Laptop
}

func (x faulty) Publish(f events.FeedID, expect uint64, payload []byte) (uint64, replicate.Failure) {
	switch rate := x.w.faults; {
	case x.w.happens(rate.full):
		return 0, replicate.Full
	case x.w.happens(rate.busy):
		return 0, replicate.Busy
	case x.w.happens(rate.unclear):
		if x.w.rng.IntN(2) == 0 {
			x.w.Exchange.Publish(f, expect, payload)
		}
		x.w.tell("%s does not know what became of a message", x.l.Name)
		return 0, replicate.Unclear
	}
	n, failure := x.w.Exchange.Publish(f, expect, payload)
	x.w.tell("%s publishes on %s behind %d: %d, failure %d", x.l.Name, f.Short(), expect, n, failure)
	return n, failure
}

func (x faulty) Last(f events.FeedID) (replicate.Message, replicate.Failure) {
	if x.w.happens(x.w.faults.unclear) {
		return replicate.Message{}, replicate.Unclear
	}
	return x.w.Exchange.Last(f)
}
