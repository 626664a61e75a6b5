package exchange

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Cursor is how far an exchange was read. A number alone is not enough: an
// exchange that was re-created, or put back to an older copy and written on,
// has another message there or none.
type Cursor struct {
	Epoch string
	Seq   uint64            // zero for nothing read yet
	Hash  [sha256.Size]byte // of the payload at Seq
}

// Follow calls fn for every message behind the cursor, in the stream's order,
// and goes on with what comes, until the context ends, fn gives an error, or
// the exchange is closed; it gives that error. Each connection, the first too,
// begins with fetching the message at the cursor. If it is not the one that was
// read, all is read again from the first message, and Warn says why: whoever
// follows drops what it has. A message that is no segment comes without feed and
// payload, so that it is known how far was read; so does the cursor itself where
// nothing lies behind it.
func (x *Exchange) Follow(ctx context.Context, from Cursor, fn func(Message) error) error {
	f := &follower{x: x, at: from, fn: fn}
	for tries := 0; ; tries++ {
		before := f.at
		err := f.run(ctx)
		var ours stopped
		switch {
		case errors.As(err, &ours):
			return ours.error
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, ErrClosed):
			return err
		}
		if f.at != before {
			tries = 0
		}
		x.note(err)
		if err := x.link.wait(ctx); err != nil {
			return err
		}
		if err := sleep(ctx, min(pause(tries), time.Second)); err != nil {
			return err
		}
	}
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(d):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// stopped is an error of the caller's function.
type stopped struct{ error }

// follower is one Follow.
type follower struct {
	x  *Exchange
	at Cursor
	fn func(Message) error
}

// errRestart is returned where the cursor was set back.
var errRestart = errors.New("read again from the first message")

// run follows until something is wrong with the connection.
func (f *follower) run(ctx context.Context) error {
	ctx, leave, err := f.x.link.during(ctx)
	if err != nil {
		return err
	}
	defer leave()
	// The reader is made before the cursor is checked. A stream that is
	// re-created between the two takes the reader with it; the other way
	// round, the reader would stand on a stream that nobody checked.
	r, err := f.x.read(ctx, f.x.opt.Tag.stream(), jetstream.ConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:   f.at.Seq + 1,
	})
	if err != nil {
		return f.x.reason(ctx, err)
	}
	defer r.close()
	if err := f.check(ctx); err != nil {
		return err
	}
	if r.waiting == 0 {
		if err := f.hand(Message{Seq: f.at.Seq, Hash: f.at.Hash, Epoch: f.at.Epoch}); err != nil {
			return err
		}
	}
	for {
		m, err := r.next(ctx)
		if err != nil {
			return f.x.reason(ctx, err)
		}
		if err := f.take(m); err != nil {
			return err
		}
	}
}

// check compares the cursor with the exchange there is.
func (f *follower) check(ctx context.Context) error {
	if _, err := f.x.look(ctx); err != nil {
		return err
	}
	epoch := f.x.Epoch()
	if f.at.Seq == 0 {
		f.at = Cursor{Epoch: epoch}
		return nil
	}
	if f.at.Epoch != epoch {
		return f.restart(epoch, "it is another exchange than the one read before")
	}
	switch odd, err := f.x.differs(ctx, f.at); {
	case err != nil:
		return err
	case odd != "":
		return f.restart(epoch, odd)
	}
	return nil
}

// differs says in words how the exchange's message at a cursor is not the one
// that was read; nothing where it is.
func (x *Exchange) differs(ctx context.Context, at Cursor) (string, error) {
	m, ok, err := x.get(ctx, getRequest{Seq: at.Seq})
	switch {
	case err != nil:
		return "", err
	case !ok:
		return fmt.Sprintf("it has no message %d any more", at.Seq), nil
	case m.Hash != at.Hash:
		return fmt.Sprintf("its message %d is another one than was read", at.Seq), nil
	}
	return "", nil
}

// Holds reports whether the exchange still has the message that a cursor names,
// in the epoch that was last seen. A cursor at nothing is held by every exchange.
func (x *Exchange) Holds(ctx context.Context, at Cursor) (bool, error) {
	if at.Seq == 0 {
		return true, nil
	}
	if at.Epoch != x.Epoch() {
		return false, nil
	}
	odd, err := x.differs(ctx, at)
	if err != nil {
		return false, fmt.Errorf("look for message %d of the exchange: %w", at.Seq, err)
	}
	return odd == "", nil
}

func (f *follower) restart(epoch, why string) error {
	f.at = Cursor{Epoch: epoch}
	f.x.mu.Lock()
	f.x.restarts++
	f.x.mu.Unlock()
	f.x.opt.Warn("the exchange is read from its first message, because " + why)
	return fmt.Errorf("%w: %s", errRestart, why)
}

// take hands a message on and moves the cursor behind it.
func (f *follower) take(r received) error {
	if f.at.Seq > 0 && r.seq != f.at.Seq+1 {
		f.x.opt.Warn(fmt.Sprintf("the exchange has lost messages %d to %d: they are damaged or were deleted there", f.at.Seq+1, r.seq-1))
	}
	feed, ok := f.x.opt.Tag.feedOf(r.subject)
	m := newMessage(feed, r.seq, r.data, f.at.Epoch)
	m.Behind = r.pending
	switch {
	case !ok && r.subject != f.x.opt.Tag.probe():
		f.x.opt.Warn(fmt.Sprintf("message %d of the exchange is on %q, which is no feed: passed over", r.seq, r.subject))
	case ok && len(r.data) > MaxPayload:
		f.x.opt.Warn(fmt.Sprintf("message %d of the exchange has %d bytes, at most %d: passed over", r.seq, len(r.data), MaxPayload))
	case ok:
		return f.hand(m)
	}
	return f.hand(Message{Seq: m.Seq, Hash: m.Hash, Epoch: m.Epoch, Behind: m.Behind})
}

func (f *follower) hand(m Message) error {
	if err := f.fn(m); err != nil {
		return stopped{err}
	}
	f.at = m.Cursor()
	return nil
}
