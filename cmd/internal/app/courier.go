package app

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"oldhand/events/evidence"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
)

// courierEvery is how often a courier asks whether there is anything new for it.
const courierEvery = 2 * time.Second

// courierAnyway is after what time it goes though nothing is new: a disk that was
// full may have room again, and what is known of an exchange gets old.
const courierAnyway = time.Hour

// courier exchanges photos and recordings beside a bench's other work, over a
// connection of its own: a large one on a slow line keeps nobody else waiting.
type courier struct {
	note func(string)

	mu     sync.Mutex
	errand meet.Errand
	trip   *trip // under way; nil while there is none
}

// send gives it what the bench has and wants now, and starts it where it is not
// under way.
func (c *courier) send(r *Reached, e meet.Errand) {
	if len(e.Named) == 0 || r.again == nil {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.errand = e
	if c.trip == nil {
		ctx, cancel := context.WithCancel(context.Background())
		c.trip = &trip{c: c, dial: r.again, wake: make(chan struct{}, 1), cancel: cancel, done: make(chan struct{})}
		go c.trip.run(ctx)
	}
	select {
	case c.trip.wake <- struct{}{}:
	default:
	}
}

// stop ends it and waits until it is over.
func (c *courier) stop() {
	c.mu.Lock()
	t := c.trip
	c.trip = nil
	c.mu.Unlock()
	if t != nil {
		t.cancel()
		<-t.done
	}
}

func (c *courier) present() meet.Errand {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.errand
}

// trip is a courier under way, on a goroutine of its own.
type trip struct {
	c      *courier
	dial   func(context.Context) (*exchange.Exchange, error)
	wake   chan struct{}
	cancel context.CancelFunc
	done   chan struct{} // closed when it ended

	x       *exchange.Exchange  // nil before the first connection
	seen    exchange.PieceState // of the exchange, before all was exchanged last,
	named   int                 // how many pieces entries named then,
	waiting int                 // how many could not be opened for want of a key,
	ran     time.Time           // and when that was
	said    string              // what was told last of what went wrong
}

// run goes whenever the bench or the exchange has something that it had not.
func (t *trip) run(ctx context.Context) {
	defer close(t.done)
	for sent := true; ctx.Err() == nil; {
		if err := t.look(ctx, sent); err != nil && ctx.Err() == nil {
			t.tell(err)
		}
		sent = false
		select {
		case <-ctx.Done():
		case <-t.wake:
			sent = true
		case <-time.After(courierEvery):
		}
	}
	if t.x != nil {
		t.x.Close()
	}
}

// look exchanges what there is, if anything changed. What comes to the exchange
// meanwhile is a change for the next look. Sent is whether the bench met others
// since, which may have brought a key that was missing.
func (t *trip) look(ctx context.Context, sent bool) (err error) {
	if t.x == nil {
		if t.x, err = t.dial(ctx); err != nil {
			t.x = nil
			return err
		}
	}
	e := t.c.present()
	s, err := t.x.PieceState(ctx)
	same := s == t.seen && len(e.Named) == t.named && !(sent && t.waiting > 0)
	if err != nil || same && time.Since(t.ran) < courierAnyway {
		return err
	}
	met, err := meet.Pieces(ctx, e, t.x, nil)
	if met.Took > 0 {
		t.c.note(fmt.Sprintf("photos and recordings taken: %d", met.Took))
	}
	if err == nil {
		t.seen, t.named, t.waiting, t.ran = s, len(e.Named), met.Waiting, time.Now()
	}
	return err
}

// tell says what went wrong, once, where it does not pass by itself: the meetings
// beside it say whether the exchange answers.
func (t *trip) tell(err error) {
	for _, passes := range []error{exchange.ErrOffline, exchange.ErrUnknown, exchange.ErrNoStream, exchange.ErrClosed, evidence.ErrBusy} {
		if errors.Is(err, passes) {
			return
		}
	}
	if err.Error() != t.said {
		t.said = err.Error()
		t.c.note(t.said)
	}
}
