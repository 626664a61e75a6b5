package eventlog

import (
	"context"

	"oldhand/events"
)

// Marks are what is remembered beside the log: how far sync has read in an
// exchange, what that has, and what was not taken and why; which forms of the page
// were saved. They are written in the batch of the events they are about, so that a
// store put back to an older copy has the marks of that copy, and no mark says that
// an event is here which is not.

// PutMark writes a mark; a value of nil takes it away.
func (tx *Tx) PutMark(k, v []byte) { tx.layer.put(markKey(k), v) }

// Mark reads a mark through this action. It gives nil where there is none.
func (tx *Tx) Mark(k []byte) ([]byte, error) { return tx.raw(markKey(k)) }

// Mark reads a mark. It gives nil where there is none.
func (v *View) Mark(k []byte) ([]byte, error) { return get(v.snap, markKey(k)) }

// Marks calls fn with the marks from lo to below hi in the order of their keys,
// until fn gives false. Key and value are good until fn returns.
func (v *View) Marks(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	return scan(v.snap, markKey(lo), markKey(hi), func(k, val []byte) (bool, error) { return fn(k[1:], val) })
}

// Batch is events of other benches, and the signed heads that cover them.
type Batch struct {
	Events []events.Event
	Heads  []events.SignedHead
}

// ReceiveWith is Receive with more in the same action: marks of where the events
// came from.
func (l *Log) ReceiveWith(ctx context.Context, evs []events.Event, heads []events.SignedHead, also func(*Tx) error) error {
	return l.receive(ctx, []Batch{{evs, heads}}, (*Tx).TakeRun, also)
}

// ReceiveBranch is ReceiveWith of events that may begin a branch: the feed has
// other events in their places (F12). Both are kept.
func (l *Log) ReceiveBranch(ctx context.Context, evs []events.Event, heads []events.SignedHead, also func(*Tx) error) error {
	return l.receive(ctx, []Batch{{evs, heads}}, (*Tx).takeBranches, also)
}

// ReceiveAll is ReceiveWith of several batches in one action, one after the other:
// all are taken or none.
func (l *Log) ReceiveAll(ctx context.Context, batches []Batch, also func(*Tx) error) error {
	return l.receive(ctx, batches, (*Tx).TakeRun, also)
}

func (tx *Tx) takeBranches(evs []events.Event) error {
	for _, e := range evs {
		if err := tx.TakeBranch(e); err != nil {
			return err
		}
	}
	return nil
}

func (l *Log) receive(ctx context.Context, batches []Batch, take func(*Tx, []events.Event) error, also func(*Tx) error) error {
	for _, b := range batches {
		if err := l.checkCovered(b.Events, b.Heads); err != nil {
			return err
		}
	}
	return l.Append(ctx, func(tx *Tx) error {
		for _, b := range batches {
			if err := take(tx, b.Events); err != nil {
				return err
			}
			for _, h := range b.Heads {
				if err := tx.KeepHead(h); err != nil {
					return err
				}
			}
			if err := tx.uncovered(); err != nil {
				return err
			}
		}
		if also == nil {
			return nil
		}
		return also(tx)
	})
}
