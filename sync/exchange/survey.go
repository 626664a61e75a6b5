package exchange

import (
	"context"
	"encoding/binary"
	"fmt"
	"hash"
	"hash/fnv"

	"github.com/nats-io/nats.go/jetstream"
)

// Lacking tells which messages, up to the last that was ever stored, an exchange
// can't give any more.
type Lacking struct {
	Count uint64
	Sum   uint64 // a hash of their numbers; zero for none
}

// Survey reads the number of every message and tells which are lacking. A message
// whose bytes went bad under an intact index is counted by the server as one it
// has, and passed over in silence when it is read (F21), so nothing less than
// reading finds it. Payloads stay where they are.
func (x *Exchange) Survey(ctx context.Context) (l Lacking, err error) {
	info, err := x.look(ctx)
	if err != nil {
		return l, fmt.Errorf("look what the exchange has: %w", err)
	}
	ctx, cancel, err := x.link.during(ctx)
	if err != nil {
		return l, err
	}
	defer cancel()
	end, err := x.lastReadable(ctx, info.State.LastSeq)
	if err != nil {
		return l, err
	}
	tally := tally{next: 1, sum: fnv.New64a()}
	if end > 0 {
		if err := x.count(ctx, &tally, end); err != nil {
			return l, err
		}
	}
	tally.there(info.State.LastSeq + 1)
	l.Count = tally.lacking
	if l.Count > 0 {
		l.Sum = tally.sum.Sum64()
	}
	return l, nil
}

// mostBadAtEnd is how many messages at the end are looked at one by one. The
// server goes on counting bad ones as still to come, so without knowing the last
// that does come, reading would wait for them for ever.
const mostBadAtEnd = 1000

// lastReadable is the number of the last message that can be read; zero for none.
func (x *Exchange) lastReadable(ctx context.Context, last uint64) (uint64, error) {
	for n := last; n > 0 && last-n < mostBadAtEnd; n-- {
		_, ok, err := x.get(ctx, getRequest{Seq: n})
		if err != nil {
			return 0, fmt.Errorf("look for message %d of the exchange: %w", n, err)
		}
		if ok {
			return n, nil
		}
	}
	if last > mostBadAtEnd {
		return 0, fmt.Errorf("none of the last %d messages of the exchange can be read", mostBadAtEnd)
	}
	return 0, nil
}

// count goes through the numbers of all messages up to one.
func (x *Exchange) count(ctx context.Context, t *tally, end uint64) error {
	r, err := x.read(ctx, x.opt.Tag.stream(), jetstream.ConsumerConfig{DeliverPolicy: jetstream.DeliverAllPolicy, HeadersOnly: true})
	if err != nil {
		return x.reason(ctx, err)
	}
	defer r.close()
	for t.next <= end {
		m, err := r.next(ctx)
		if err != nil {
			return x.reason(ctx, err)
		}
		t.there(m.seq)
	}
	return nil
}

// tally counts the numbers that are passed over.
type tally struct {
	next, lacking uint64
	sum           hash.Hash64
}

// there notes that a number came.
func (t *tally) there(n uint64) {
	for ; t.next < n; t.next++ {
		t.lacking++
		t.sum.Write(binary.BigEndian.AppendUint64(nil, t.next))
	}
	t.next = n + 1
}
