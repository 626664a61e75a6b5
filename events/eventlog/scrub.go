package eventlog

import (
	"errors"
	"fmt"
	"io/fs"
	"math"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// Scrubbed counts what a scrub walked.
type Scrubbed struct {
	Events uint64
	Feeds  int
}

// Scrub walks every chain from its first event to its head and checks each
// hash, each record's form, and each kept signature. A body is its bench's affair: what
// was signed and makes no sense lies as it was written. Progress, where given, is
// called with the events walked so far.
func (v *View) Scrub(progress func(events uint64)) (s Scrubbed, err error) {
	for n := range v.log.feeds.len() {
		row, ok, err := v.row(feedNo(n))
		if err != nil {
			return s, err
		}
		if !ok {
			break // begun since
		}
		if _, err := v.scrubFeed(stretch{n: feedNo(n), row: row, upTo: math.MaxUint64}, &s, progress); err != nil {
			return s, err
		}
		s.Feeds++
	}
	return s, nil
}

// stretch is the part of a row's events that is walked: behind a number, up to
// another or to the row's head.
type stretch struct {
	n           feedNo
	row         events.Head
	after, upTo uint64
}

// whole reports whether the walk comes to the row's head.
func (w stretch) whole() bool { return w.upTo >= w.row.Seq }

// scrubFeed walks a stretch and gives the number of the last event walked.
func (v *View) scrubFeed(w stretch, s *Scrubbed, progress func(uint64)) (uint64, error) {
	signed, err := v.signedIn(w)
	if err != nil {
		return 0, err
	}
	head, err := v.headBefore(w)
	if err != nil {
		return 0, err
	}
	to := eventKey(w.n+1, 0)
	if !w.whole() {
		to = eventKey(w.n, w.upTo+1)
	}
	err = scan(v.snap, eventKey(w.n, head.Seq+1), to, func(k, val []byte) (bool, error) {
		e, err := nextOf(head, k, val)
		if err != nil {
			return false, err
		}
		head = e.Head()
		if len(signed) > 0 && head.Seq == signed[0].Seq {
			if head != signed[0].Head {
				return false, fmt.Errorf("feed %s at %d: the signed head is of %s, here is %s: %w",
					w.row.Feed.Short(), head.Seq, signed[0].Hash.Short(), head.Hash.Short(), ErrDamaged)
			}
			signed = signed[1:]
		}
		if s.Events++; s.Events%4096 == 0 && progress != nil {
			progress(s.Events)
		}
		return true, nil
	})
	switch {
	case err != nil:
		return 0, err
	case w.whole():
		return head.Seq, endsAt(head, w.row)
	case head.Seq != w.upTo:
		return 0, fmt.Errorf("feed %s: event %d is not here, its row says %d: %w", w.row.Feed.Short(), head.Seq+1, w.row.Seq, ErrDamaged)
	}
	return head.Seq, nil
}

// signedIn are the signed heads that are kept of a stretch, each with a signature
// that is good.
func (v *View) signedIn(w stretch) (list []events.SignedHead, err error) {
	signed, err := v.signedAfter(w.n, w.after, w.upTo)
	for _, s := range signed {
		if err == nil && (s.Seq <= w.upTo || w.whole()) {
			list, err = append(list, s), s.Verify(v.log.opt.Shop)
		}
	}
	return list, err
}

// headBefore is the head that a stretch's first event follows. In the middle of a
// feed that is what stands there: the walk up to it checked it.
func (v *View) headBefore(w stretch) (events.Head, error) {
	head, err := v.beginning(w.n, w.row.Feed)
	if err != nil || w.after <= head.Seq {
		return head, err
	}
	val, err := get(v.snap, eventKey(w.n, w.after))
	if err != nil {
		return head, err
	}
	head.Seq = w.after
	if head.Hash, _, err = splitEventValue(val); err != nil {
		return head, fmt.Errorf("feed %s at %d: %w", w.row.Feed.Short(), w.after, err)
	}
	return head, nil
}

// beginning is the head that a row's first event follows: of a branch an event
// that must be here.
func (v *View) beginning(n feedNo, f events.FeedID) (events.Head, error) {
	b := v.log.feeds.base(n)
	b.head.Feed = f
	if b.head.Seq == 0 {
		return b.head, nil
	}
	val, err := get(v.snap, eventKey(b.of, b.head.Seq))
	if err != nil {
		return b.head, err
	}
	if here, _, err := splitEventValue(val); err != nil || here != b.head.Hash {
		return b.head, fmt.Errorf("feed %s: a branch leaves event %d (%s), which is not here: %w", f.Short(), b.head.Seq, b.head.Hash.Short(), ErrDamaged)
	}
	return b.head, nil
}

// all is a copy of the heads by number.
func (t *feedTable) all() []events.Head {
	t.mu.RLock()
	defer t.mu.RUnlock()
	return append([]events.Head(nil), t.heads...)
}

// Views is the version of the projections that the store's views were made by,
// empty where they were never finished.
func (l *Log) Views() (string, error) {
	open, err := l.View() // holds the store open while it is read
	if err != nil {
		return "", err
	}
	defer open.Close()
	v, err := l.getMeta(metaViews)
	return string(v), err
}

// DeferViews has nothing follow from events until the next Rewrite: for whoever
// takes in far more than is here, since to make the views once costs a small part
// of what it costs to change them piece by piece. Until then readers see them as
// they are. If the log is closed before, Views is empty afterwards.
func (l *Log) DeferViews() error {
	if err := l.Err(); err != nil {
		return err
	}
	return l.alone(func() error {
		if err := l.db.Delete(metaViews, pebble.Sync); err != nil {
			return err
		}
		l.later.Store(true)
		return nil
	})
}

// Follows reports whether views follow each event as it comes.
func (l *Log) Follows() bool { return l.opt.Projector != nil && !l.later.Load() }

// alone runs fn while no action is committed. It has no deadline: it is not
// one write but as many as the log is long.
func (l *Log) alone(fn func() error) error {
	q := &l.queue
	q.mu.Lock()
	for q.leading && !q.closed {
		q.wake.Wait()
	}
	if q.closed {
		q.mu.Unlock()
		return ErrClosed
	}
	q.leading = true
	q.mu.Unlock()
	err := l.unlessDead(fn)
	l.handOver()
	return err
}

// unlessDead runs fn on another goroutine and waits until it returns or the handle
// dies: the store never gives control back to whoever waits for a write that failed.
func (l *Log) unlessDead(fn func() error) error {
	done := make(chan error, 1)
	go func() {
		defer func() {
			if p := recover(); p != nil {
				l.failure.die(panicked(p))
			}
		}()
		done <- fn()
	}()
	select {
	case err := <-done:
		return err
	case <-l.failure.dead:
		return l.failure.err()
	}
}

// handOver lets those who came meanwhile be led.
func (l *Log) handOver() {
	q := &l.queue
	q.mu.Lock()
	defer q.mu.Unlock()
	q.leading = false
	q.wake.Broadcast()
	if len(q.waiting) > 0 && l.failure.err() == nil {
		q.leading = true
		l.failure.start(l.lead)
	}
}

func isNotExist(err error) bool { return errors.Is(err, fs.ErrNotExist) }

// errorsJoin says what is damaged, where, and by whose account.
func errorsJoin(kind error, path string, err error) error {
	switch {
	case path == "" && err == nil:
		return kind
	case err == nil:
		return fmt.Errorf("%s: %w", path, kind)
	case path == "":
		return fmt.Errorf("%w: %w", kind, err)
	}
	return fmt.Errorf("%s: %w: %w", path, kind, err)
}
