package exchange

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"oldhand/events"

	"github.com/nats-io/nats.go/jetstream"
)

// Message is a segment as an exchange holds it. Nothing of it is checked.
type Message struct {
	Feed    events.FeedID
	Seq     uint64 // in the stream, over all feeds
	Payload []byte
	Hash    [sha256.Size]byte // of the payload
	Epoch   string            // of the stream it was read from
	Behind  uint64            // messages behind it when it was sent, while following
}

// Cursor is the place of the message in the exchange.
func (m Message) Cursor() Cursor { return Cursor{m.Epoch, m.Seq, m.Hash} }

func newMessage(feed events.FeedID, seq uint64, payload []byte, epoch string) Message {
	return Message{Feed: feed, Seq: seq, Payload: payload, Hash: sha256.Sum256(payload), Epoch: epoch}
}

// Epoch names the life of the exchange's stream, as last seen: a re-created
// one has another.
func (x *Exchange) Epoch() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.epoch
}

// look asks the exchange about the stream and keeps its epoch and what is odd
// about it.
func (x *Exchange) look(ctx context.Context) (*jetstream.StreamInfo, error) {
	info, err := x.inspect(ctx, x.opt.Tag.stream(), streamConfig)
	if err != nil {
		return nil, err
	}
	odd := loosened(info.Config, x.opt.Tag, x.replicas())
	x.mu.Lock()
	told := len(odd) == len(x.warnings)
	x.epoch, x.warnings = epochOf(info), odd
	x.mu.Unlock()
	for _, text := range odd {
		if !told {
			x.opt.Warn("the exchange's stream is not as it should be: " + text)
		}
	}
	return info, nil
}

// inspect asks the exchange about one of the shop's streams. A server of somebody
// else's is given the stream if it has none; a host makes its own.
func (x *Exchange) inspect(ctx context.Context, name string, config func(Tag, int) jetstream.StreamConfig) (*jetstream.StreamInfo, error) {
	ctx, cancel, err := x.request(ctx)
	if err != nil {
		return nil, err
	}
	defer cancel()
	var wanted *jetstream.StreamConfig
	if x.opt.Foreign != nil {
		c := config(x.opt.Tag, x.replicas())
		wanted = &c
	}
	info, err := openStream(ctx, x.js, name, wanted)
	if err != nil {
		return nil, x.reason(ctx, err)
	}
	return info, nil
}

func (x *Exchange) replicas() int {
	switch f := x.opt.Foreign; {
	case f == nil:
		return 1
	case f.Replicas == 0:
		return defaultReplicas
	default:
		return f.Replicas
	}
}

// Last reads the last message of a feed, from the server that leads the
// stream. There may be none.
func (x *Exchange) Last(ctx context.Context, feed events.FeedID) (Message, bool, error) {
	m, ok, err := x.get(ctx, getRequest{LastBySubject: x.opt.Tag.feed(feed)})
	if err != nil {
		return m, false, fmt.Errorf("last of feed %s: %w", feed.Short(), err)
	}
	x.flights.read(feed)
	return m, ok, nil
}

// getRequest asks for one message, by one of the two.
type getRequest struct {
	Seq           uint64 `json:"seq,omitempty"`
	LastBySubject string `json:"last_by_subj,omitempty"`
}

type getAnswer struct {
	Error   *jetstream.APIError `json:"error"`
	Message *storedMessage      `json:"message"`
}

type storedMessage struct {
	Subject string `json:"subject"`
	Seq     uint64 `json:"seq"`
	Data    []byte `json:"data"`
}

// get reads one message. It asks the stream's leader in so many words: the
// library would take the answer of a replica where the stream allows that, and
// one that lags would make a feed look shorter than it is.
func (x *Exchange) get(ctx context.Context, r getRequest) (m Message, ok bool, err error) {
	s, ok, err := x.getOf(ctx, x.opt.Tag.stream(), r, x.opt.Timeout)
	if err != nil || !ok {
		return m, false, err
	}
	feed, _ := x.opt.Tag.feedOf(s.Subject)
	return newMessage(feed, s.Seq, s.Data, x.Epoch()), true, nil
}

// getOf is get of any of the shop's streams, within a time for the answer.
func (x *Exchange) getOf(ctx context.Context, stream string, r getRequest, within time.Duration) (s storedMessage, ok bool, err error) {
	ctx, cancel, err := x.requestWithin(ctx, within)
	if err != nil {
		return s, false, err
	}
	defer cancel()
	ask, err := json.Marshal(r)
	if err != nil {
		return s, false, err
	}
	reply, err := x.conn.RequestWithContext(ctx, "$JS.API.STREAM.MSG.GET."+stream, ask)
	if err != nil {
		return s, false, x.reason(ctx, err)
	}
	var a getAnswer
	if err := json.Unmarshal(reply.Data, &a); err != nil {
		return s, false, fmt.Errorf("read the exchange's answer: %w", err)
	}
	switch {
	case a.Error != nil && a.Error.ErrorCode == codeNoMessage:
		return s, false, nil
	case a.Error != nil && a.Error.ErrorCode == codeNoStream:
		return s, false, ErrNoStream
	case a.Error != nil:
		return s, false, a.Error
	case a.Message == nil:
		return s, false, errors.New("the exchange's answer holds no message")
	}
	return *a.Message, true, nil
}

// Feeds lists the feeds the exchange has, each with the stream sequence of its
// last message.
func (x *Exchange) Feeds(ctx context.Context) (map[events.FeedID]uint64, error) {
	all, err := x.list(ctx)
	for range replicaTries {
		if !errors.Is(err, errLags) {
			break
		}
		select {
		case <-time.After(replicaPause):
			all, err = x.list(ctx)
		case <-ctx.Done():
			err = ctx.Err()
		}
	}
	if err != nil {
		return nil, fmt.Errorf("list the feeds: %w", err)
	}
	return all, nil
}

// A replica that lags is asked again for a second or so.
const (
	replicaTries = 20
	replicaPause = 50 * time.Millisecond
)

var errLags = errors.New("a replica lags behind its leader")

// list reads the last message of each feed without its payload. On a cluster
// that may be answered by a replica that lags, so what it saw last is compared
// with what the leader had before.
func (x *Exchange) list(ctx context.Context) (map[events.FeedID]uint64, error) {
	info, err := x.look(ctx)
	if err != nil {
		return nil, err
	}
	all, last, err := x.lasts(ctx)
	if err != nil || last >= info.State.LastSeq {
		return all, err
	}
	_, there, err := x.get(ctx, getRequest{Seq: info.State.LastSeq})
	if err != nil || !there { // the end itself is damaged: then nobody can see it
		return all, err
	}
	return nil, fmt.Errorf("%w: its last is %d, the leader's %d", errLags, last, info.State.LastSeq)
}

func (x *Exchange) lasts(ctx context.Context) (all map[events.FeedID]uint64, last uint64, err error) {
	ctx, cancel, err := x.link.during(ctx)
	if err != nil {
		return nil, 0, err
	}
	defer cancel()
	r, err := x.read(ctx, x.opt.Tag.stream(), jetstream.ConsumerConfig{
		DeliverPolicy: jetstream.DeliverLastPerSubjectPolicy,
		FilterSubject: ">", // all, since what was seen last is to be compared
		HeadersOnly:   true,
	})
	if err != nil {
		return nil, 0, x.reason(ctx, err)
	}
	defer r.close()
	all = map[events.FeedID]uint64{}
	for more := r.waiting > 0; more; {
		m, err := r.next(ctx)
		if err != nil {
			return nil, 0, x.reason(ctx, err)
		}
		more, last = m.pending > 0, m.seq
		if len(all) == MaxFeeds {
			return nil, 0, fmt.Errorf("%w: more than %d feeds", ErrTooLarge, MaxFeeds)
		}
		if f, ok := x.opt.Tag.feedOf(m.subject); ok {
			all[f] = m.seq
		}
	}
	return all, last, nil
}
