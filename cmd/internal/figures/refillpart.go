package main

import (
	"context"
	"errors"
	"slices"

	"oldhand/cmd/internal/app"
	"oldhand/sync/exchange"
)

// Giving all to an empty exchange, which is what one is refilled with after it was
// lost; beside a server with nothing around it, which stores messages of the same
// sizes, each acknowledged before the next. Then joining, beside an ordered consumer of
// that server, which reads them and drops them.
func refillPart(t *turn) {
	full := t.full()
	front := t.openCopy(t.front())
	messages := t.payloads(full)
	n := float64(t.count())
	given := &figure{name: "an empty exchange refilled", unit: perSecond, peer: "bare publisher"}
	read := &figure{name: "catch-up by an exchange, beside a reader", unit: perSecond, peer: "bare reader"}
	t.rounds(func() {
		give, publish, drop := t.refill(front, messages)
		given.beside(n/give, n/publish)
		read.beside(n/t.joinAt(full), n/drop)
	})
	size := 0
	for _, m := range messages {
		size += len(m)
	}
	kept := &figure{name: "bytes an event in the exchange", unit: byteCount, peer: "payloads alone"}
	state := t.near(full, t.story().Benches()[0].Key).State(t.within())
	kept.beside(float64(state.Bytes)/n, float64(size)/n)
	t.tell(given, read, kept)
}

// refill gives all to an empty exchange, and as many messages to a bare server and has
// them read there; how many seconds each took.
func (t *turn) refill(front *app.Shop, messages [][]byte) (give, publish, read float64) {
	t.check(t.attempt(func(t *turn) {
		p := t.hostShop(t.TempDir())
		give = t.timed(func() error { t.fill(p, front); return nil })
		bare, err := openBare(t.TempDir())
		t.check(err)
		t.Cleanup(bare.close)
		publish = t.timed(func() error { return bare.publish(messages) })
		read = t.timed(func() error { return bare.read(len(messages)) })
	}))
	return give, publish, read
}

// payloads are all messages of an exchange.
func (t *turn) payloads(p place) (all [][]byte) {
	x := t.near(p, t.story().Benches()[0].Key)
	last := x.State(t.within()).LastSeq
	err := x.Follow(t.within(), exchange.Cursor{}, func(m exchange.Message) error {
		all = append(all, slices.Clone(m.Payload))
		if m.Seq == last {
			return context.Canceled
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.check(errors.Join(err, errors.New("the exchange was not read to its end")))
	}
	return all
}
