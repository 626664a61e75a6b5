package benchtest

import (
	"errors"
	"fmt"
	"reflect"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"
)

// longestPause is more than a bench ever waits of its own accord, in
// milliseconds.
const longestPause = 15_000

// inspect looks at what came into a laptop's log since it was last looked at:
// feeds only grow (P3), nothing of litter is among it (P10), and what is of a
// bench that does not count is not (P12).
func (w *World) inspect(l *Laptop) (err error) {
	if w.broken != nil {
		return w.broken
	}
	if wait := l.Bench.WakeAt() - l.now(); wait > longestPause {
		return fmt.Errorf("%s waits for %d ms", l.Name, wait)
	}
	have := l.branches()
	for b, seen := range l.seen {
		if have[b].Head.Seq < seen {
			return fmt.Errorf("%s: feed %s was at %d and is at %d (P3)", l.Name, b.Feed.Short(), seen, have[b].Head.Seq)
		}
	}
	for b, r := range have {
		if r.Head.Seq == l.seen[b] {
			continue
		}
		walked := l.each(b, l.seen[b], func(e events.Event) {
			if err == nil {
				err = w.belongs(l, e)
			}
		})
		if err = errors.Join(err, walked); err != nil {
			return fmt.Errorf("%s: %w", l.Name, err)
		}
		l.seen[b] = r.Head.Seq
	}
	l.roster = l.Bench.Inbox.Roster()
	return nil
}

// belongs checks one event. What was taken together with the retirement, or the
// stricter one, that says it does not count may have come before it; what did not
// count by the one before that can't have.
func (w *World) belongs(l *Laptop, e events.Event) error {
	r := l.Bench.Inbox.Roster()
	if _, ok := w.book.events[e.Hash]; !ok {
		return fmt.Errorf("event %d of feed %s was never written (P10)", e.Seq, e.Feed.Short())
	}
	if e.Feed.Bench == l.ID {
		return nil
	}
	before, _ := l.roster.Bench(e.Feed.Bench)
	after, admitted := r.Bench(e.Feed.Bench)
	if !admitted || before.Retired && after.Retired && !w.counts(l.roster, e.Head()) && !w.counts(r, e.Head()) {
		return fmt.Errorf("took event %d of feed %s, which does not count: %s (P12)", e.Seq, e.Feed.Short(), r.Counts(e.Head()).Words)
	}
	return nil
}

// counts is whether an event counts by a roster: for a retired bench, whether it
// lies on the chain of a counted head.
func (w *World) counts(r roster.Roster, h events.Head) bool {
	b, ok := r.Bench(h.Feed.Bench)
	if !ok || !b.Retired {
		return ok
	}
	for _, end := range r.Heads(h.Feed) {
		if w.book.leadsTo(h.Hash, end) {
			return true
		}
	}
	return false
}

// audit looks at all of a laptop: the roster is what its events say (P12), what
// is kept aside stays within its limits, marks claim no more than the log has,
// and what it says of its standing is true (P9).
func (w *World) audit(l *Laptop) error {
	if err := l.Bench.Check(); err != nil {
		return fmt.Errorf("%s: %w", l.Name, err)
	}
	list, err := l.Bench.Inbox.Aside()
	if err != nil {
		return err
	}
	size := 0
	for _, a := range list {
		size += len(a.Bytes)
	}
	if len(list) > 4096 || size > 64<<20 {
		return fmt.Errorf("%s keeps %d segments aside with %d bytes", l.Name, len(list), size)
	}
	if err := w.rosterHolds(l, list); err != nil {
		return err
	}
	return w.levelHolds(l)
}

// rosterHolds folds what a laptop holds anew and compares.
func (w *World) rosterHolds(l *Laptop, list []replicate.Aside) error {
	facts, err := replicate.OnLog(l.Log).Facts()
	if err != nil {
		return err
	}
	ring := l.Bench.Inbox.Ring()
	for _, a := range list {
		if o, err := w.open(a.Bytes); err == nil && len(ring.Of(o.Epoch)) > 0 && a.Why != replicate.WhyNoKey {
			facts = append(facts, eventsOf(o)...)
		}
	}
	if r := roster.Fold(w.shop.id, facts); !reflect.DeepEqual(r, l.Bench.Inbox.Roster()) {
		return fmt.Errorf("%s: its roster is another than its events say (P12):\n%+v\n%+v", l.Name, l.Bench.Inbox.Roster(), r)
	}
	return nil
}

// levelHolds checks a laptop that says it is level with all it could have read:
// what is there is here, and what is here is there (P9).
func (w *World) levelHolds(l *Laptop) error {
	if !l.online() || l.next <= l.at.last {
		return nil
	}
	if err := l.Bench.Grew(l.now()); err != nil || !l.Bench.Standing().Level {
		return err
	}
	r := l.Bench.Inbox.Roster()
	held, err := w.held(l, true)
	if err != nil {
		return err
	}
	for _, m := range l.at.Readable() {
		o, err := w.open(m.Payload)
		if err != nil {
			continue
		}
		for _, e := range eventsOf(o) {
			if w.counts(r, e.Head()) && !held[e.Hash] {
				return fmt.Errorf("%s says it is level and lacks event %d of feed %s, which message %d of %s has (P9)",
					l.Name, e.Seq, e.Feed.Short(), m.Number, l.at.Epoch)
			}
		}
	}
	for b, reach := range l.branches() {
		bench, _ := r.Bench(b.Feed.Bench)
		if at := w.covered(l.at, l, reach); at < reach.Head.Seq && !bench.Retired {
			return fmt.Errorf("%s says it is level, and of feed %s exchange %s has %d of %d (P9)", l.Name, b.Feed.Short(), l.at.Epoch, at, reach.Head.Seq)
		}
	}
	return nil
}

// held are the events that a laptop has in its log or keeps aside, with those
// that it has no key to read or without.
func (w *World) held(l *Laptop, sealed bool) (map[events.Hash]bool, error) {
	held := map[events.Hash]bool{}
	for b := range l.branches() {
		if err := l.each(b, 0, func(e events.Event) { held[e.Hash] = true }); err != nil {
			return nil, err
		}
	}
	list, err := l.Bench.Inbox.Aside()
	for _, a := range list {
		if o, err := w.open(a.Bytes); err == nil && (sealed || a.Why != replicate.WhyNoKey) {
			for _, e := range eventsOf(o) {
				held[e.Hash] = true
			}
		}
	}
	return held, err
}

// covered is how far an exchange's messages lead along a laptop's branch without
// a hole.
func (w *World) covered(x *Model, l *Laptop, r eventlog.Reach) (at uint64) {
	at = r.Base.Seq
	log := replicate.OnLog(l.Log)
	for moved := true; moved; {
		moved = false
		for _, m := range x.Messages {
			o, err := w.open(m.Payload)
			if err != nil || o.Feed != r.Feed || o.First > at+1 || o.Last <= at {
				continue
			}
			along, err := log.Along(o.First, o.Head.Head)
			for _, s := range along {
				if err == nil && s.Branch == r.Branch && s.From <= at+1 && s.Head.Seq > at {
					at, moved = s.Head.Seq, true
				}
			}
		}
	}
	return at
}
