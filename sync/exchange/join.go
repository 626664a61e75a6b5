package exchange

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"oldhand/events"

	"github.com/nats-io/nats.go"
)

// refusedHeader carries why a host did not take a guest's request.
const refusedHeader = "Oldhand-Refused"

// waiting is how many requests of guests may lie before a host; more are
// dropped, and the guest asks again.
const waiting = 64

// answerGuests has the host's callback answer what guests of a shop ask.
func (h *Host) answerGuests(shop Tag, conn *nats.Conn) error {
	if h.opt.OnJoin == nil {
		return nil
	}
	sub, err := conn.Subscribe(shop.joins()+"*", func(m *nats.Msg) { h.answer(shop, m) })
	if err != nil {
		return err
	}
	return sub.SetPendingLimits(waiting, waiting*maxWire)
}

func (h *Host) answer(shop Tag, m *nats.Msg) {
	guest, err := shop.guestOf(m.Subject)
	// A guest can name any subject to answer on. The host may write to all,
	// so it answers in the guest's own inbox or not at all.
	if err != nil || !strings.HasPrefix(m.Reply, inbox(events.BenchID(guest))+".") {
		return
	}
	if len(m.Data) > MaxJoin {
		h.refuse(m, fmt.Errorf("a request of %d bytes, at most %d", len(m.Data), MaxJoin))
		return
	}
	reply := h.opt.OnJoin(shop, guest, m.Data)
	if len(reply) > MaxJoin {
		h.refuse(m, fmt.Errorf("the answer has %d bytes, at most %d", len(reply), MaxJoin))
		return
	}
	if err := m.Respond(reply); err != nil {
		h.opt.Warn(fmt.Sprintf("answer a guest of shop %s: %v", shop, err))
	}
}

func (h *Host) refuse(m *nats.Msg, why error) {
	err := m.RespondMsg(&nats.Msg{Header: nats.Header{refusedHeader: {why.Error()}}})
	if err != nil {
		h.opt.Warn(fmt.Sprintf("refuse a guest: %v", err))
	}
}

// Ask asks an exchange's host, as a guest whose key the options carry, to be
// let join, and gives the host's answer.
func Ask(ctx context.Context, o DialOptions, request []byte) ([]byte, error) {
	if len(request) > MaxJoin {
		return nil, fmt.Errorf("ask to join: %w: %d bytes, at most %d", ErrTooLarge, len(request), MaxJoin)
	}
	x, err := connect(ctx, o)
	if err != nil {
		return nil, fmt.Errorf("ask to join: %w", err)
	}
	defer x.Close()
	ctx, cancel, err := x.request(ctx)
	if err != nil {
		return nil, fmt.Errorf("ask to join: %w", err)
	}
	defer cancel()
	m, err := x.ask(ctx, request)
	if errors.Is(err, nats.ErrNoResponders) {
		err = errors.New("nobody answers there")
	}
	if err != nil {
		return nil, fmt.Errorf("ask to join: %w", x.reason(ctx, err))
	}
	if why := m.Header.Get(refusedHeader); why != "" {
		return nil, fmt.Errorf("ask to join: %w: %s", ErrRefused, why)
	}
	return m.Data, nil
}

// ask asks again while nobody is there to hear it: a host that takes its users
// over is away for a moment.
func (x *Exchange) ask(ctx context.Context, request []byte) (*nats.Msg, error) {
	patience, cancel := context.WithTimeout(ctx, awayAtMost)
	defer cancel()
	for {
		m, err := x.conn.RequestWithContext(ctx, x.opt.Tag.join(x.own), request)
		if !errors.Is(err, nats.ErrNoResponders) || sleep(patience, 50*time.Millisecond) != nil {
			return m, err
		}
	}
}

// awayAtMost is how long nobody may answer a guest while a host is started anew.
const awayAtMost = 3 * time.Second
