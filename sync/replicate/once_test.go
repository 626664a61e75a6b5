package replicate_test

import (
	"errors"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate"
)

var errBalk = errors.New("the log balks")

// once is a log of which one call fails, after so many that go well; the log beneath
// is not asked then.
type once struct {
	replicate.Log
	left int // below zero none fails
	hit  bool
}

func (o *once) next() error {
	if o.left--; o.left != -1 {
		return nil
	}
	o.hit = true
	return errBalk
}

func (o *once) Run(b eventlog.Branch, after uint64) ([]events.Event, events.SignedHead, error) {
	if err := o.next(); err != nil {
		return nil, events.SignedHead{}, err
	}
	return o.Log.Run(b, after)
}

func (o *once) Find(h events.Head) (eventlog.Branch, bool, error) {
	if err := o.next(); err != nil {
		return eventlog.Branch{}, false, err
	}
	return o.Log.Find(h)
}

func (o *once) Along(first uint64, to events.Head) ([]eventlog.Stretch, error) {
	if err := o.next(); err != nil {
		return nil, err
	}
	return o.Log.Along(first, to)
}

func (o *once) Kinds(b eventlog.Branch, after uint64, fn func(events.Kind) bool) error {
	return errors.Join(o.next(), o.Log.Kinds(b, after, fn))
}

func (o *once) Facts() ([]events.Event, error) {
	if err := o.next(); err != nil {
		return nil, err
	}
	return o.Log.Facts()
}

func (o *once) Receive(evs []events.Event, heads []events.SignedHead, marks []replicate.Mark) error {
	if err := o.next(); err != nil {
		return err
	}
	return o.Log.Receive(evs, heads, marks)
}

func (o *once) ReceiveAll(batches []eventlog.Batch, marks []replicate.Mark) error {
	if err := o.next(); err != nil {
		return err
	}
	return o.Log.ReceiveAll(batches, marks)
}

func (o *once) ReceiveBranch(evs []events.Event, heads []events.SignedHead, marks []replicate.Mark) error {
	if err := o.next(); err != nil {
		return err
	}
	return o.Log.ReceiveBranch(evs, heads, marks)
}

func (o *once) SetCuts(cuts map[eventlog.Branch]uint64, retired bool) error {
	if err := o.next(); err != nil {
		return err
	}
	return o.Log.SetCuts(cuts, retired)
}

func (o *once) Marks(prefix []byte, fn func(k, v []byte) error) error {
	if err := o.next(); err != nil {
		return err
	}
	return o.Log.Marks(prefix, fn)
}
