package eventlog

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"sync"
	"time"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// maxGroup is how many actions at most share a commit: enough that no number
// of benches at one server waits, few enough that a commit stays small.
const maxGroup = 64

// queue is the actions that wait for the disk. Whoever comes while a commit is
// under way waits for it to end and then goes into the next one together with
// all others that came, so that they share one sync.
type queue struct {
	mu      sync.Mutex
	wake    *sync.Cond
	waiting []*action
	leading bool
	closed  bool
}

type action struct {
	fn   func(*Tx) error
	tx   *Tx
	done chan error
}

// Append makes one action: fn adds its events, and when Append returns nil
// all of them and what follows from them are on disk, or, with any error that
// is not ErrDead, none are. With ErrDead it is not known; opening the log
// again tells.
//
// fn runs while no other action is made. What it reads through the Tx is
// therefore still so when its events are saved.
func (l *Log) Append(ctx context.Context, fn func(*Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	a := &action{fn: fn, done: make(chan error, 1)}
	if err := l.enqueue(a); err != nil {
		return err
	}
	select {
	case err := <-a.done:
		return err
	case <-l.failure.dead:
		return l.failure.err()
	}
}

func (l *Log) enqueue(a *action) error {
	if err := l.Err(); err != nil {
		return err
	}
	q := &l.queue
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed {
		return cmp.Or(l.failure.err(), ErrClosed)
	}
	q.waiting = append(q.waiting, a)
	if !q.leading {
		q.leading = true
		l.failure.start(l.lead)
	}
	return nil
}

// lead commits groups of actions until none wait.
func (l *Log) lead() {
	for {
		q := &l.queue
		q.mu.Lock()
		n := min(len(q.waiting), maxGroup)
		if n == 0 || q.closed {
			for _, a := range q.waiting {
				a.done <- ErrClosed
			}
			q.waiting, q.leading = nil, false
			q.wake.Broadcast()
			q.mu.Unlock()
			return
		}
		group := q.waiting[:n:n]
		q.waiting = q.waiting[n:]
		q.mu.Unlock()
		err := l.commitInTime(group)
		if l.failure.err() != nil {
			return // whoever waits hears of it from the handle's death
		}
		for _, a := range group {
			if a.tx != nil {
				a.done <- err
			}
		}
		l.pub.giveBack()
	}
}

// commitInTime commits a group on this goroutine, without handing it to
// another: waking one costs a good part of a sync. If the disk does not answer
// in time, the handle dies, and the callers go on; this goroutine stays where
// it is.
func (l *Log) commitInTime(group []*action) (err error) {
	late := time.AfterFunc(l.opt.Deadline, func() {
		l.failure.die(fmt.Errorf("commit: no answer from the disk for %v", l.opt.Deadline))
	})
	defer late.Stop()
	defer func() {
		if p := recover(); p != nil {
			l.failure.die(panicked(p))
			err = l.failure.err()
		}
	}()
	return l.commit(group)
}

// abandon ends the queue of a handle that died: its leader may never return.
func (q *queue) abandon() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.leading, q.closed = false, true
	q.wake.Broadcast()
}

// shut lets no action in any more and waits until none is being committed.
func (q *queue) shut() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = true
	for q.leading {
		q.wake.Wait()
	}
}

// commit makes the actions of a group one after the other and saves them
// together. An action that fails is answered here and leaves nothing behind;
// its tx is then nil.
func (l *Log) commit(group []*action) error {
	if err := l.space.check(); err != nil {
		return err2all(group, err)
	}
	base := newLayer(l.own, l.begun, l.doubtful)
	for _, a := range group {
		tx := &Tx{log: l, base: &base, layer: newLayer(base.own, base.begun, base.doubtful)}
		err := a.fn(tx)
		if err == nil {
			err = tx.seal()
		}
		if err != nil {
			a.done <- err
			continue
		}
		a.tx = tx
		base.absorb(tx.layer)
	}
	return l.save(&base)
}

func err2all(group []*action, err error) error {
	for _, a := range group {
		a.done <- err
	}
	return nil
}

// save writes a layer in one synced batch and then lets it be seen.
func (l *Log) save(base *layer) error {
	if len(base.puts) == 0 && len(base.heads) == 0 {
		return nil
	}
	base.put(metaClock, binary.BigEndian.AppendUint64(nil, uint64(l.clock.Last())))
	if err := l.saveAll(base); err != nil {
		return err
	}
	if err := l.failure.err(); err != nil {
		return err // also when the deadline passed meanwhile: the callers were told so
	}
	l.feeds.set(base.heads, base.split)
	l.own, l.begun, l.doubtful = base.own, base.begun, base.doubtful
	l.remember()
	l.pub.next(l, base.begin)
	return nil
}

// saveAll puts a layer on the disk: in a synced batch, or, if it is large and nothing
// follows from its events yet, as tables. Views lie all over their keys, so that tables of
// one action after the other, as a book is read in, would be merged again and again.
func (l *Log) saveAll(ly *layer) error {
	if ly.keys() >= l.manyKeys && !l.Follows() {
		return l.saveTables(ly)
	}
	b := l.db.NewBatch()
	defer b.Close()
	err := ly.each(l.spacing, func(k, v []byte, join bool) error {
		switch {
		case join:
			return b.Merge(k, v, nil)
		case v == nil:
			return b.Delete(k, nil)
		}
		return b.Set(k, v, nil)
	})
	if err != nil {
		return fmt.Errorf("batch: %w", err)
	}
	if err := b.Commit(pebble.Sync); err != nil {
		l.failure.die(err)
	}
	return nil
}

// remember tells the witness what was saved, before anybody can see it: what
// was seen must not be written a second time by an older copy of the store.
// Without its witness the feed is not gone on with.
func (l *Log) remember() {
	head, ok := l.feeds.head(l.own)
	if !ok || !l.begun || head.Feed.Bench != l.bench {
		return
	}
	w := Witness{Incarnation: head.Feed.Incarnation, Seq: head.Seq, Hash: head.Hash}
	if l.opt.Boot != "" {
		w.Boot = bootHash(l.opt.Boot)
	}
	if err := l.witness.save(w); err != nil {
		l.begun = false
		l.witness.drop()
		l.failure.warn("the witness file could not be written; what is written next begins a new feed: " + err.Error())
	}
}

// Receive appends events of other benches, or this bench's own from before a
// loss, and the signed heads that cover them. An event beyond the heads is
// refused: nothing says yet that its bench wrote it.
func (l *Log) Receive(ctx context.Context, evs []events.Event, heads []events.SignedHead) error {
	return l.ReceiveWith(ctx, evs, heads, nil)
}

// checkCovered refuses events that no signed head covers.
func (l *Log) checkCovered(evs []events.Event, heads []events.SignedHead) error {
	covered := map[events.FeedID]uint64{}
	for _, h := range heads {
		if err := h.Verify(l.opt.Shop); err != nil {
			return err
		}
		covered[h.Feed] = max(covered[h.Feed], h.Seq)
	}
	for _, e := range evs {
		if e.Seq > covered[e.Feed] {
			return &events.Refused{Feed: e.Feed, Seq: e.Seq, Why: fmt.Errorf("no signed head covers it: %w", events.ErrSignature)}
		}
	}
	return nil
}
