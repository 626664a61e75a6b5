package exchange

import (
	"context"
	"crypto/sha256"
	"fmt"

	"oldhand/events"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// KeyMessage is a person's sealed key as an exchange holds it. Nothing of it is
// checked.
type KeyMessage struct {
	Person  events.PersonID // zero where the subject names none; then there is no payload
	Seq     uint64          // in the stream of keys
	Payload []byte
	Hash    [sha256.Size]byte // of the payload
}

// KeyState is what an exchange says of its keys.
type KeyState struct {
	Epoch   string
	LastSeq uint64
	Persons uint64 // of whom there is a message
}

// KeyState asks the exchange how its keys stand.
func (x *Exchange) KeyState(ctx context.Context) (s KeyState, err error) {
	info, err := x.inspect(ctx, x.opt.Tag.keyStream(), keyConfig)
	if err != nil {
		return s, err
	}
	x.warnOfKeys(keysLoosened(info.Config, x.opt.Tag, x.replicas()))
	return KeyState{epochOf(info), info.State.LastSeq, info.State.Msgs}, nil
}

// warnOfKeys tells once in what the stream of keys is not as it should be.
func (x *Exchange) warnOfKeys(odd []string) {
	x.mu.Lock()
	told := len(odd) == x.keysTold
	x.keysTold = len(odd)
	x.mu.Unlock()
	for _, text := range odd {
		if !told {
			x.opt.Warn("the exchange's stream of keys is not as it should be: " + text)
		}
	}
}

// PutKey stores a person's sealed key in place of the message with the sequence
// expect, zero for none, and gives the sequence it got. It fails as Publish
// does. After ErrUnknown it may be tried again: what is there is read first.
func (x *Exchange) PutKey(ctx context.Context, p events.PersonID, expect uint64, payload []byte) (seq uint64, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("put the key of person %s: %w", p, err)
		}
	}()
	if n := len(payload); n == 0 || n > MaxKey {
		return 0, fmt.Errorf("%w: %d bytes, want 1 to %d", ErrTooLarge, n, MaxKey)
	}
	return x.put(ctx, x.opt.Tag.keyStream(), &nats.Msg{Subject: x.opt.Tag.person(p), Data: payload}, expect, x.opt.Timeout)
}

// Key reads what the exchange has of a person. There may be nothing.
func (x *Exchange) Key(ctx context.Context, p events.PersonID) (KeyMessage, bool, error) {
	return x.oneKey(ctx, getRequest{LastBySubject: x.opt.Tag.person(p)})
}

// KeyAt reads the key's message with a sequence. It is gone where a later one
// of the same person replaced it.
func (x *Exchange) KeyAt(ctx context.Context, seq uint64) (KeyMessage, bool, error) {
	return x.oneKey(ctx, getRequest{Seq: seq})
}

func (x *Exchange) oneKey(ctx context.Context, r getRequest) (KeyMessage, bool, error) {
	s, ok, err := x.getOf(ctx, x.opt.Tag.keyStream(), r, x.opt.Timeout)
	if err != nil || !ok {
		return KeyMessage{}, false, err
	}
	return x.keyMessage(s.Subject, s.Seq, s.Data), true, nil
}

// keyMessage leaves out what can't be a key.
func (x *Exchange) keyMessage(subject string, seq uint64, data []byte) KeyMessage {
	m := KeyMessage{Seq: seq, Hash: sha256.Sum256(data)}
	p, ok := x.opt.Tag.personOf(subject)
	switch {
	case !ok:
		x.opt.Warn(fmt.Sprintf("key %d of the exchange is on %q, which is no person: passed over", seq, subject))
	case len(data) > MaxKey:
		x.opt.Warn(fmt.Sprintf("key %d of the exchange has %d bytes, at most %d: passed over", seq, len(data), MaxKey))
	default:
		m.Person, m.Payload = p, data
	}
	return m
}

// Keys calls fn with the keys behind a sequence that are there when it begins,
// in the stream's order. Whether the sequence still means what it meant is for
// the caller to ask first, with KeyState and KeyAt.
func (x *Exchange) Keys(ctx context.Context, since uint64, fn func(KeyMessage) error) error {
	ctx, cancel, err := x.link.during(ctx)
	if err != nil {
		return err
	}
	defer cancel()
	r, err := x.read(ctx, x.opt.Tag.keyStream(), jetstream.ConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:   since + 1,
	})
	if err != nil {
		return x.reason(ctx, err)
	}
	defer r.close()
	for more := r.waiting > 0; more; {
		m, err := x.nextKey(ctx, r)
		if err != nil {
			return x.reason(ctx, err)
		}
		more = m.pending > 0
		if err := fn(x.keyMessage(m.subject, m.seq, m.data)); err != nil {
			return err
		}
	}
	return nil
}

// nextKey waits for no longer than for one answer: what was said to be pending
// may have been taken out meanwhile, and then nothing comes.
func (x *Exchange) nextKey(ctx context.Context, r *reader) (received, error) {
	timed, cancel := context.WithTimeoutCause(ctx, x.opt.Timeout, ErrOffline)
	defer cancel()
	m, err := r.next(timed)
	if err != nil && ctx.Err() == nil && timed.Err() != nil {
		err = fmt.Errorf("%w: no key came for %s", ErrOffline, x.opt.Timeout)
	}
	return m, err
}
