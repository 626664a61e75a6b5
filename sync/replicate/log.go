package replicate

import (
	"context"
	"fmt"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Log is what is needed of a bench's log.
type Log interface {
	// Heads are how far each feed goes.
	Heads() []events.Head
	// Run gives the events of a feed behind a number, as many as are sent at
	// once, and the signed head they end at; none where nothing can be proven.
	Run(f events.FeedID, after uint64) ([]events.Event, events.SignedHead, error)
	// HashAt is the hash of an event; zero for number 0, false where there is none.
	HashAt(f events.FeedID, seq uint64) (events.Hash, bool, error)
	// Kinds calls fn with the kind of each event of a feed behind a number, until
	// it says false.
	Kinds(f events.FeedID, after uint64, fn func(events.Kind) bool) error
	// Facts are the shop's own events, the roster's among them.
	Facts() ([]events.Event, error)
	// Receive takes events in, with the head that covers them, and writes marks,
	// all or nothing. Either may be none.
	Receive(evs []events.Event, heads []events.SignedHead, marks []Mark) error
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

func (l onLog) Run(f events.FeedID, after uint64) (evs []events.Event, end events.SignedHead, err error) {
	err = l.view(func(v *eventlog.View) error {
		evs, end, err = v.Run(f, after)
		return err
	})
	return evs, end, err
}

func (l onLog) HashAt(f events.FeedID, seq uint64) (h events.Hash, ok bool, err error) {
	if seq == 0 {
		return h, true, nil
	}
	err = l.view(func(v *eventlog.View) error {
		h, ok, err = v.HashAt(f, seq)
		return err
	})
	return h, ok, err
}

func (l onLog) Kinds(f events.FeedID, after uint64, fn func(events.Kind) bool) error {
	return l.view(func(v *eventlog.View) error {
		return v.Feed(f, after, func(e events.Event) (bool, error) { return fn(e.Kind), nil })
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
	return l.ReceiveWith(context.Background(), evs, heads, func(tx *eventlog.Tx) error {
		for _, m := range marks {
			tx.PutMark(m.Key, m.Value)
		}
		return nil
	})
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
