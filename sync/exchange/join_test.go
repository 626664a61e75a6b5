package exchange_test

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go"
)

// joining is a host that lets a guest ask, and counts how often it did.
func joining(t *testing.T) (h *exchange.Host, guest events.BenchKey, asked *atomic.Int32) {
	asked = new(atomic.Int32)
	guest = newKey(t)
	h = openHost(t, exchange.HostOptions{OnJoin: func(s exchange.Tag, g exchange.Guest, request []byte) []byte {
		asked.Add(1)
		if s != shop || events.BenchID(g) != public(t, guest) {
			t.Errorf("asked for shop %s by %x", s, g)
		}
		if string(request) == "too much" {
			return make([]byte, exchange.MaxJoin+1)
		}
		return append([]byte("welcome, "), request...)
	}})
	if err := h.SetUsers(shop, nil, []exchange.Guest{exchange.Guest(public(t, guest))}); err != nil {
		t.Fatal(err)
	}
	return h, guest, asked
}

func TestAGuestCanAskToJoin(t *testing.T) {
	t.Parallel()
	h, guest, _ := joining(t)
	for _, request := range []string{"bench 4", strings.Repeat("x", exchange.MaxJoin-len("welcome, "))} {
		reply, err := exchange.Ask(within(t), to(h, guest), []byte(request))
		if err != nil || string(reply) != "welcome, "+request {
			t.Errorf("got %d bytes, %v", len(reply), err)
		}
	}
	if _, err := exchange.Ask(within(t), to(h, guest), make([]byte, exchange.MaxJoin+1)); !errors.Is(err, exchange.ErrTooLarge) {
		t.Errorf("too large: %v", err)
	}
	if _, err := exchange.Ask(within(t), to(h, guest), []byte("too much")); !errors.Is(err, exchange.ErrRefused) {
		t.Errorf("too large an answer: %v", err)
	}
	if _, err := exchange.Ask(within(t), to(h, newKey(t)), []byte("x")); !errors.Is(err, exchange.ErrNotAdmitted) {
		t.Errorf("a stranger: %v", err)
	}
	if err := h.SetUsers(shop, nil, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := exchange.Ask(within(t), to(h, guest), []byte("x")); !errors.Is(err, exchange.ErrNotAdmitted) {
		t.Errorf("a code that was used: %v", err)
	}
}

func TestAHostWithoutAnAnswerSaysSo(t *testing.T) {
	t.Parallel()
	h, guest := openHost(t, exchange.HostOptions{}), newKey(t)
	if err := h.SetUsers(shop, nil, []exchange.Guest{exchange.Guest(public(t, guest))}); err != nil {
		t.Fatal(err)
	}
	if _, err := exchange.Ask(within(t), to(h, guest), []byte("x")); err == nil || !strings.Contains(err.Error(), "nobody answers") {
		t.Errorf("got %v", err)
	}
}

// guestConn is a guest's bare connection, to try what Ask does not.
func guestConn(t *testing.T, h *exchange.Host, guest events.BenchKey) (*nats.Conn, chan error) {
	t.Helper()
	problems := make(chan error, 64)
	id := public(t, guest)
	c, err := nats.Connect("", nats.InProcessServer(h.Server()), nats.Nkey(id.LoginName(), guest.SignLogin),
		nats.CustomInboxPrefix("_IN."+id.String()), nats.PermissionErrOnSubscribe(true),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { problems <- err }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c, problems
}

func TestAGuestCanOnlyAskToJoin(t *testing.T) {
	t.Parallel()
	h, guest, asked := joining(t)
	bench := newKey(t)
	if err := h.SetUsers(shop, ids(t, bench), []exchange.Guest{exchange.Guest(public(t, guest))}); err != nil {
		t.Fatal(err)
	}
	x := dial(t, to(h, bench))
	last := fill(t, x, feedOf(t, bench, 1), "kept", 1)
	o := to(h, guest)
	o.Timeout = 300 * time.Millisecond
	if _, err := exchange.Dial(within(t), o); err == nil {
		t.Error("a guest looked at the stream")
	}
	c, problems := guestConn(t, h, guest)
	for _, subject := range []string{
		shop.Feeds() + feedOf(t, guest, 1).String(),
		"$JS.API.STREAM.INFO." + shop.Stream(),
		"$JS.API.STREAM.MSG.GET." + shop.Stream(),
		"$JS.API.CONSUMER.CREATE." + shop.Stream() + ".x",
		"$JS.API.STREAM.DELETE." + shop.Stream(),
		shop.Joins() + public(t, bench).String(), // as somebody else
		"_IN." + public(t, bench).String() + ".x",
		"$SYS.REQ.SERVER.PING",
	} {
		if err := c.Publish(subject, nil); err != nil {
			t.Fatal(err)
		}
		if err := refusedBy(problems); err == nil || !strings.Contains(err.Error(), subject) {
			t.Errorf("publish on %s: %v", subject, err)
		}
	}
	for _, subject := range []string{">", shop.Feeds() + ">", shop.Joins() + ">", "_IN.>", "_IN." + public(t, bench).String() + ".>"} {
		if _, err := c.SubscribeSync(subject); err != nil {
			t.Fatal(err)
		}
		if err := refusedBy(problems); err == nil || !strings.Contains(err.Error(), "Subscription") {
			t.Errorf("subscribe to %s: %v", subject, err)
		}
	}
	if m, _, err := x.Last(within(t), feedOf(t, bench, 1)); err != nil || m.Seq != last || asked.Load() != 0 {
		t.Errorf("after all that: seq %d, %v, asked %d times", m.Seq, err, asked.Load())
	}
}

func refusedBy(problems chan error) error {
	select {
	case err := <-problems:
		return err
	case <-time.After(5 * time.Second):
		return nil
	}
}

// The host may write anywhere, a guest nowhere: the host must not write for it
// where the guest says.
func TestAGuestCannotHaveTheHostAnswerElsewhere(t *testing.T) {
	t.Parallel()
	h, guest, asked := joining(t)
	bench := newKey(t)
	if err := h.SetUsers(shop, ids(t, bench), []exchange.Guest{exchange.Guest(public(t, guest))}); err != nil {
		t.Fatal(err)
	}
	x := dial(t, to(h, bench))
	c, _ := guestConn(t, h, guest)
	mine := shop.Joins() + public(t, guest).String()
	if err := c.Publish(mine, []byte("to nobody")); err != nil {
		t.Fatal(err)
	}
	for _, reply := range []string{
		shop.Feeds() + feedOf(t, guest, 1).String(), "$JS.API.STREAM.DELETE." + shop.Stream(),
		"_IN." + public(t, bench).String() + ".x", "_IN." + public(t, guest).String() + "x.y",
	} {
		if err := c.PublishRequest(mine, reply, []byte("x")); err != nil {
			t.Fatal(err)
		}
	}
	// Nor is a request read that is larger than one may be.
	large, err := c.Request(mine, make([]byte, exchange.MaxJoin+1), 5*time.Second)
	if err != nil || len(large.Data) > 0 || len(large.Header) == 0 {
		t.Errorf("a large request: %v", err)
	}
	// A bench that has the stream's messages delivered there asks for nobody.
	fill(t, x, feedOf(t, bench, 1), "kept", 1)
	deliverTo(t, x, "spoof", mine)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if _, err := c.RequestWithContext(ctx, mine, []byte("honest")); err != nil {
		t.Fatal(err) // it came after the others, so those were dealt with
	}
	if n := asked.Load(); n != 1 {
		t.Errorf("the host answered %d times", n)
	}
	if s := x.State(within(t)); s.Messages != 1 {
		t.Errorf("state: %+v", s)
	}
}
