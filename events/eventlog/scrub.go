package eventlog

import (
	"encoding/binary"
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
// hash, each record's form, and each kept signature. Progress, where given, is
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
		if err := v.scrubFeed(feedNo(n), row, &s, progress); err != nil {
			return s, err
		}
		s.Feeds++
	}
	return s, nil
}

func (v *View) scrubFeed(n feedNo, row events.Head, s *Scrubbed, progress func(uint64)) error {
	signed, err := v.signedAfter(n, 0, math.MaxUint64)
	for _, s := range signed {
		if err == nil {
			err = s.Verify(v.log.opt.Shop)
		}
	}
	if err != nil {
		return err
	}
	head, err := v.beginning(n, row.Feed)
	if err != nil {
		return err
	}
	err = scan(v.snap, eventKey(n, 0), eventKey(n+1, 0), func(k, val []byte) (bool, error) {
		e, err := nextOf(head, k, val)
		if err != nil {
			return false, err
		}
		if _, err := e.Body(); err != nil && !errors.Is(err, events.ErrUnread) {
			return false, fmt.Errorf("%w: %w", ErrDamaged, err)
		}
		head = e.Head()
		if len(signed) > 0 && head.Seq == signed[0].Seq {
			if head != signed[0].Head {
				return false, fmt.Errorf("feed %s at %d: the signed head is of %s, here is %s: %w",
					row.Feed.Short(), head.Seq, signed[0].Hash.Short(), head.Hash.Short(), ErrDamaged)
			}
			signed = signed[1:]
		}
		if s.Events++; s.Events%4096 == 0 && progress != nil {
			progress(s.Events)
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	return endsAt(head, row)
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

func seqOf(k []byte) uint64 { return binary.BigEndian.Uint64(k[5:]) }

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
		l.later = true
		return nil
	})
}

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
	done := make(chan error, 1)
	go func() {
		defer func() {
			if p := recover(); p != nil {
				l.failure.die(panicked(p))
			}
		}()
		done <- fn()
	}()
	var err error
	select {
	case err = <-done:
	case <-l.failure.dead:
		err = l.failure.err()
	}
	l.handOver()
	return err
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
