package eventlog

import (
	"cmp"
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
	Newer  uint64 // of the events, those that only a newer program reads
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

// stretch calls fn with each event of a stretch and the group that it is in, after that
// was checked, until fn gives false. A row that ends before its head is damaged.
func (v *View) stretch(w stretch, fn func(g *group, seq uint64) (bool, error)) error {
	u := run{n: w.n, base: v.log.feeds.base(w.n), row: w.row, upTo: min(w.upTo, w.row.Seq)}
	u.from = max(w.after, u.base.head.Seq) + 1
	return between(v.snap, []byte{famEvent}, []byte{famEvent + 1}, func(it *pebble.Iterator) error {
		var g group
		return v.spacing.groups(it, u, &g, func() (more bool, err error) {
			for seq := max(u.from, g.begin.Seq+1); seq <= min(u.upTo, g.head().Seq); seq++ {
				if more, err = fn(&g, seq); err != nil || !more {
					return false, err
				}
			}
			return g.head().Seq < u.upTo || w.whole(), nil
		})
	})
}

// scrubFeed walks a stretch and gives the number of the last event walked.
func (v *View) scrubFeed(w stretch, s *Scrubbed, progress func(uint64)) (uint64, error) {
	signed, err := v.signedIn(w)
	if err != nil {
		return 0, err
	}
	if err := v.leaves(w); err != nil {
		return 0, err
	}
	last := w.after
	err = v.stretch(w, func(g *group, seq uint64) (bool, error) {
		e, err := g.event(seq, g.record(seq))
		if err != nil {
			return false, err
		}
		if len(signed) > 0 && seq == signed[0].Seq {
			if e.Head() != signed[0].Head {
				return false, fmt.Errorf("feed %s at %d: the signed head is of %s, here is %s: %w",
					w.row.Feed.Short(), seq, signed[0].Hash.Short(), e.Hash.Short(), ErrDamaged)
			}
			signed = signed[1:]
		}
		if last = seq; e.Newer() {
			s.Newer++
		}
		if s.Events++; s.Events%4096 == 0 && progress != nil {
			progress(s.Events)
		}
		return true, nil
	})
	return last, err
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

// leaves checks that the event which a branch leaves from is here.
func (v *View) leaves(w stretch) error {
	b := v.log.feeds.base(w.n)
	if b.head.Seq == 0 {
		return nil
	}
	if here, ok, err := v.rows().hash(b.of, b.head.Seq); err != nil || !ok || here != b.head.Hash {
		return fmt.Errorf("feed %s: a branch leaves event %d (%s), which is not here: %w",
			w.row.Feed.Short(), b.head.Seq, b.head.Hash.Short(), errorsJoin(ErrDamaged, "", err))
	}
	return nil
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
		return cmp.Or(l.failure.err(), ErrClosed)
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
