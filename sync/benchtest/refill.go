package benchtest

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"oldhand/events"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// refill lets a bench that has nothing but what joining gave it read each
// exchange, and then another one a stick.
func (w *World) refill(inLogs map[events.Hash]bool) error {
	r := w.Laptops[0].Bench.Inbox.Roster()
	for _, x := range w.Exchanges {
		want := maps.Clone(inLogs)
		w.add(want, x)
		w.keepCounted(r, want)
		err := w.fromNothing(func(l *Laptop) error {
			if err := w.meet(l, x); err != nil {
				return err
			}
			for {
				if did, err := w.read(l); err != nil || !did {
					return err
				}
			}
		}, want)
		if err != nil {
			return fmt.Errorf("from exchange %s alone: %w", x.Epoch, err)
		}
	}
	stick, err := w.stick(w.Laptops[0], nil)
	if err != nil {
		return err
	}
	here := map[events.Hash]bool{}
	for b := range w.Laptops[0].branches() {
		if err := w.Laptops[0].each(b, 0, func(e events.Event) { here[e.Hash] = true }); err != nil {
			return err
		}
	}
	w.keepCounted(r, here)
	if err := w.fromNothing(func(l *Laptop) error { return w.plug(l, stick) }, here); err != nil {
		return fmt.Errorf("from one stick alone: %w", err)
	}
	if w.thief == nil {
		return nil
	}
	if err := w.fromNothing(func(l *Laptop) error { return w.deceive(l, stick) }, nil); err != nil {
		return fmt.Errorf("after the thief: %w", err)
	}
	return nil
}

// deceive tells a laptop who belongs to the shop, lets the thief give it other
// branches of what was on the stolen laptop, and then gives it a stick: of a
// bench that is retired its log must have what counts, and not the thief's.
func (w *World) deceive(l *Laptop, stick []byte) error {
	at := w.Laptops[0]
	facts, err := replicate.OnLog(at.Log).Facts()
	if err != nil {
		return err
	}
	for _, e := range facts {
		body, err := e.Body()
		if err != nil || !roster.Concerns(e.Kind) {
			continue
		}
		if err := w.decide(l, body); err != nil {
			return err
		}
	}
	for range 4 {
		payload, _, err := w.thief.branch(w)
		if payload == nil || err != nil {
			return err
		}
		if _, err := l.Bench.Bundle(payload, l.now()); err != nil {
			return err
		}
	}
	if err := w.plug(l, stick); err != nil {
		return err
	}
	for b, r := range at.branches() {
		if slices.Contains(at.Bench.Inbox.Roster().Heads(b.Feed), r.Head) && !l.has(r.Head) {
			return fmt.Errorf("of feed %s it lacks event %d, up to which it counts (P12)", b.Feed.Short(), r.Head.Seq)
		}
	}
	return nil
}

// fromNothing opens an empty laptop with the key of one that belongs to the
// shop, gives it what an answer to joining holds, lets it read, and checks that
// it has all then.
func (w *World) fromNothing(read func(*Laptop) error, want map[events.Hash]bool) (err error) {
	w.empty++
	at := w.Laptops[0]
	l := *w.working()[len(w.working())-1]
	l.trap = &trap{}
	l.Name, l.Disk, l.Acked, l.witness, l.random = "refilled", vfs.NewCrashableMem(), map[events.Hash]bool{}, "", seeded(w.seed, 900+w.empty)
	if err := l.open(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Log.Close()) }()
	b, _ := at.Bench.Inbox.Roster().Bench(l.ID)
	admitted, err := w.shop.owner.Admit(w.shop.id, l.ID, b.Name, b.Number)
	if err != nil {
		return err
	}
	ring, _ := at.Bench.Inbox.Roster().Keys(w.shop.owner)
	sets, err := at.Bench.Inbox.Roster().Share(w.shop.owner, ring, l.ID)
	if err != nil {
		return err
	}
	answer := []events.Body{w.shop.founding, admitted}
	for _, s := range sets {
		answer = append(answer, s)
	}
	if err := w.decide(&l, answer...); err != nil {
		return err
	}
	if err := read(&l); err != nil {
		return err
	}
	return w.has(&l, want)
}
