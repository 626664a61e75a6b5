package replicate

import (
	"context"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Log is what is needed of a bench's log.
type Log interface {
	// Moved are how far the branches of feeds go that moved since a mark, each
	// behind the one that it leaves, and the mark to ask with the next time. With
	// mark zero they are all.
	Moved(since uint64) ([]eventlog.Reach, uint64)
	// Reach is how far one goes; false where it is not here.
	Reach(b eventlog.Branch) (eventlog.Reach, bool)
	// Run gives the events of a branch behind a number, as many as are sent at
	// once, and the signed head they end at; none where nothing can be proven.
	Run(b eventlog.Branch, after uint64) ([]events.Event, events.SignedHead, error)
	// Find is the branch that an event is on, false where it is not here. The
	// event of number zero is always here.
	Find(h events.Head) (eventlog.Branch, bool, error)
	// Along are the stretches that lead from a number to an event; none where it
	// is not here.
	Along(first uint64, to events.Head) ([]eventlog.Stretch, error)
	// Kinds calls fn with the kind of each event of a branch behind a number, until
	// it says false.
	Kinds(b eventlog.Branch, after uint64, fn func(events.Kind) bool) error
	// Facts are the shop's own events, the roster's among them.
	Facts() ([]events.Event, error)
	// Receive takes events in, with the head that covers them, and writes marks,
	// all or nothing. Either may be none.
	Receive(evs []events.Event, heads []events.SignedHead, marks []Mark) error
	// ReceiveAll is Receive of several batches in one action.
	ReceiveAll(batches []eventlog.Batch, marks []Mark) error
	// Follows reports whether histories and tallies follow each event as it comes.
	Follows() bool
	// ReceiveBranch is Receive of events that begin a branch.
	ReceiveBranch(evs []events.Event, heads []events.SignedHead, marks []Mark) error
	// SetCuts says how far branches of feeds of retired benches count, and whether this
	// bench is one.
	SetCuts(cuts map[eventlog.Branch]uint64, retired bool) error
	// Marks calls fn with the marks that begin with a prefix, in order.
	Marks(prefix []byte, fn func(k, v []byte) error) error
}

// Mark is something to remember; a nil value forgets it.
type Mark struct{ Key, Value []byte }

// OnLog makes a Log of a bench's log on disk.
func OnLog(l *eventlog.Log) Log { return onLog{l} }

type onLog struct{ *eventlog.Log }

func (l onLog) view(fn func(*eventlog.View) error) error {
	v, err := l.View()
	if err != nil {
		return err
	}
	defer v.Close()
	return fn(v)
}

func (l onLog) Run(b eventlog.Branch, after uint64) (evs []events.Event, end events.SignedHead, err error) {
	err = l.view(func(v *eventlog.View) error {
		evs, end, err = v.BranchRun(b, after)
		return err
	})
	return evs, end, err
}

func (l onLog) Find(h events.Head) (b eventlog.Branch, ok bool, err error) {
	err = l.view(func(v *eventlog.View) error {
		b, ok, err = v.Find(h)
		return err
	})
	return b, ok, err
}

func (l onLog) Along(first uint64, to events.Head) (list []eventlog.Stretch, err error) {
	err = l.view(func(v *eventlog.View) error {
		list, err = v.Along(first, to)
		return err
	})
	return list, err
}

func (l onLog) Kinds(b eventlog.Branch, after uint64, fn func(events.Kind) bool) error {
	return l.view(func(v *eventlog.View) error {
		return v.BranchEvents(b, after, func(e events.Event) (bool, error) { return fn(e.Kind), nil })
	})
}

func (l onLog) Facts() (evs []events.Event, err error) {
	err = l.view(func(v *eventlog.View) error {
		evs, err = v.AllEvents([16]byte{})
		return err
	})
	return evs, err
}

func (l onLog) Receive(evs []events.Event, heads []events.SignedHead, marks []Mark) error {
	return l.ReceiveWith(context.Background(), evs, heads, putMarks(marks))
}

func (l onLog) ReceiveAll(batches []eventlog.Batch, marks []Mark) error {
	return l.Log.ReceiveAll(context.Background(), slices.Clone(batches), putMarks(marks))
}

func (l onLog) ReceiveBranch(evs []events.Event, heads []events.SignedHead, marks []Mark) error {
	return l.Log.ReceiveBranch(context.Background(), evs, heads, putMarks(marks))
}

func putMarks(marks []Mark) func(*eventlog.Tx) error {
	return func(tx *eventlog.Tx) error {
		for _, m := range marks {
			tx.PutMark(m.Key, m.Value)
		}
		return nil
	}
}

func (l onLog) Marks(prefix []byte, fn func(k, v []byte) error) error {
	return l.view(func(v *eventlog.View) error {
		return v.Marks(prefix, after(prefix), func(k, val []byte) (bool, error) {
			if err := fn(k, val); err != nil {
				return false, fmt.Errorf("mark %q: %w", k[:1], err)
			}
			return true, nil
		})
	})
}

// after is the first key behind all that begin with a prefix. Every prefix
// begins with a letter, so there is one.
func after(prefix []byte) []byte {
	hi := append([]byte(nil), prefix...)
	for hi[len(hi)-1] == 0xff {
		hi = hi[:len(hi)-1]
	}
	hi[len(hi)-1]++
	return hi
}
