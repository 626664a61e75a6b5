package exchange

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// Of a reader: how often an idle server says that it is there, how long one
// request for more stands, and after what idleness the server forgets us.
const (
	heartbeat = 2 * time.Second
	expiry    = 10 * time.Second
	forgotten = time.Minute
)

// errOrder is returned where the server's own count of what it sent has a hole: the
// client drops messages where a busy machine does not take them off it in time. It is
// as a cut: who reads again, from behind what came, gets them.
var errOrder = fmt.Errorf("messages went missing on the way: %w", ErrOffline)

// reader reads a stream in order, once. The client library has a reader that
// mends itself: after a cut it goes on behind the last sequence it saw, on
// whatever stream has the name by then. One that was re-created meanwhile
// would be read from its middle, in silence. So this one only ever ends, and
// who reads on checks first what is there (see follow.go).
type reader struct {
	x       *Exchange
	stream  string
	name    string
	it      jetstream.MessagesContext
	waiting uint64 // messages there when it was made
	sent    uint64 // the server's count
}

// received is one message with where it stood.
type received struct {
	subject string
	seq     uint64
	pending uint64 // behind it in the stream
	data    []byte
}

// read makes a reader of what the configuration selects of a stream.
func (x *Exchange) read(ctx context.Context, stream string, c jetstream.ConsumerConfig) (*reader, error) {
	c.AckPolicy = jetstream.AckNonePolicy
	c.MaxDeliver = 1
	c.MemoryStorage, c.Replicas = true, 1
	c.InactiveThreshold = forgotten
	timed, cancel := context.WithTimeout(ctx, x.opt.Timeout)
	defer cancel()
	cons, err := x.js.CreateConsumer(timed, stream, c)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		err = ErrNoStream
	}
	if err != nil {
		return nil, fmt.Errorf("begin to read: %w", err)
	}
	r := &reader{x: x, stream: stream, name: cons.CachedInfo().Name, waiting: cons.CachedInfo().NumPending}
	r.it, err = cons.Messages(
		jetstream.PullMaxMessagesWithBytesLimit(aheadMessages, ahead),
		jetstream.PullExpiry(expiry),
		jetstream.PullHeartbeat(heartbeat))
	if err != nil {
		return nil, fmt.Errorf("begin to read: %w", err)
	}
	return r, nil
}

// next waits for a message. It also ends when the server is silent for two
// heartbeats.
func (r *reader) next(ctx context.Context) (received, error) {
	m, err := r.it.Next(jetstream.NextContext(ctx))
	if err != nil {
		return received{}, err
	}
	at, err := m.Metadata()
	if err != nil {
		return received{}, err
	}
	r.sent++
	if at.Sequence.Consumer != r.sent {
		return received{}, fmt.Errorf("%w: %d came as number %d, and %d were received", errOrder, at.Sequence.Stream, at.Sequence.Consumer, r.sent-1)
	}
	return received{m.Subject(), at.Sequence.Stream, at.NumPending, m.Data()}, nil
}

// close stops reading and has the server forget it, if it still hears us.
func (r *reader) close() {
	r.it.Stop()
	ctx, cancel, err := r.x.link.during(context.Background())
	if err != nil {
		return
	}
	defer cancel()
	ctx, stop := context.WithTimeout(ctx, time.Second)
	defer stop()
	_ = r.x.js.DeleteConsumer(ctx, r.stream, r.name) // else it is forgotten later
}
