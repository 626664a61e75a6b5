package exchange

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"oldhand/events"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// The server's numbers for what it answers to a publish.
const (
	codeNoResources = 10023
	codeAccountFull = 10002
	codeStorageFull = 10047
	codeStoreFailed = 10077
	codeSealed      = 10109
	codeLastSeq     = 10071
	codeInProcess   = 10164
	codeTooLarge    = 10054
	codeNoMessage   = 10037
	codeNoStream    = 10059
)

// Publish stores a payload as the next message of a feed, if the feed's last
// message is the one with the stream sequence expect, zero for none, and gives
// the sequence it got. It tries once: what to do after an error is for the
// caller, who knows the feed. After ErrUnknown the feed takes nothing more
// until Last has read it.
func (x *Exchange) Publish(ctx context.Context, feed events.FeedID, expect uint64, payload []byte) (seq uint64, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("publish on feed %s behind %d: %w", feed.Short(), expect, err)
		}
	}()
	if n := len(payload); n == 0 || n > MaxPayload {
		return 0, fmt.Errorf("%w: payload of %d bytes, want 1 to %d", ErrTooLarge, n, MaxPayload)
	}
	if err := x.flights.begin(feed); err != nil {
		return 0, err
	}
	defer func() { x.flights.end(feed, err) }()
	return x.put(ctx, x.opt.Tag.stream(), &nats.Msg{Subject: x.opt.Tag.feed(feed), Data: payload}, expect, x.opt.Timeout)
}

// put stores a message in a stream, if the last one on its subject has the
// sequence expect, and waits no longer than within for the answer.
func (x *Exchange) put(ctx context.Context, stream string, m *nats.Msg, expect uint64, within time.Duration) (uint64, error) {
	seq, err := x.store(ctx, stream, m, within, jetstream.WithExpectLastSequencePerSubject(expect))
	if err == nil && seq <= expect {
		return 0, fmt.Errorf("%w: it says stored as %d", ErrUnknown, seq)
	}
	return seq, err
}

// store stores a message in a stream.
func (x *Exchange) store(ctx context.Context, stream string, m *nats.Msg, within time.Duration, opts ...jetstream.PublishOpt) (uint64, error) {
	ctx, cancel, err := x.requestWithin(ctx, within)
	if err != nil {
		return 0, err
	}
	defer cancel()
	ack, err := x.js.PublishMsg(ctx, m, append(opts, jetstream.WithExpectStream(stream), jetstream.WithRetryAttempts(0))...)
	if err != nil {
		return 0, published(x.reason(ctx, err))
	}
	if ack.Sequence == 0 {
		return 0, fmt.Errorf("%w: it says stored as 0", ErrUnknown)
	}
	return ack.Sequence, nil
}

// published sorts what came in place of an acknowledgement. Whatever does not
// plainly say that nothing was stored leaves it unknown; the reason is then in
// the text only, so that nobody takes an ErrOffline in it for an answer.
func published(err error) error {
	var api *jetstream.APIError
	if errors.As(err, &api) {
		if class := refusal(api); class != nil {
			return fmt.Errorf("%w: %w", class, api)
		}
	}
	switch {
	case errors.Is(err, nats.ErrReconnectBufExceeded): // there is no buffer, so it was not sent
		return fmt.Errorf("%w: %w", ErrOffline, err)
	case errors.Is(err, nats.ErrMaxPayload): // of a server that takes less than ours
		return fmt.Errorf("%w: %w", ErrTooLarge, err)
	}
	return fmt.Errorf("%w: %v", ErrUnknown, err)
}

// refusal is nil where the server's answer does not say that nothing was stored.
func refusal(api *jetstream.APIError) error {
	switch api.ErrorCode {
	case codeLastSeq:
		return ErrBehind
	case codeInProcess:
		return ErrBusy
	case codeNoResources, codeAccountFull, codeStorageFull, codeSealed:
		return ErrFull
	case codeTooLarge:
		return ErrTooLarge
	case codeNoStream:
		return ErrNoStream
	case codeStoreFailed:
		if strings.HasPrefix(api.Description, "maximum ") { // of bytes or messages; any other is of the disk
			return ErrFull
		}
	}
	return nil
}

// flights holds every feed to one message under way.
type flights struct {
	mu      sync.Mutex
	on      map[events.FeedID]bool
	unclear map[events.FeedID]bool // ended with ErrUnknown and not read since
}

func (f *flights) begin(feed events.FeedID) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.on[feed] {
		return ErrBusy
	}
	if f.unclear[feed] {
		return fmt.Errorf("%w: the message before this one; read the feed's last", ErrUnknown)
	}
	if f.on == nil {
		f.on, f.unclear = map[events.FeedID]bool{}, map[events.FeedID]bool{}
	}
	f.on[feed] = true
	return nil
}

func (f *flights) end(feed events.FeedID, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.on, feed)
	if errors.Is(err, ErrUnknown) {
		f.unclear[feed] = true
	}
}

// read tells that the feed's last message was read.
func (f *flights) read(feed events.FeedID) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.unclear, feed)
}
