package exchange_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"sync"
	"testing"

	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

func TestAPublishThatExpectsWrongIsRefused_F16(t *testing.T) {
	t.Parallel()
	_, k, x := oneBench(t, exchange.HostOptions{})
	f, g := feedOf(t, k, 1), feedOf(t, k, 2)
	one := publish(t, x, f, 0, "one")
	two := publish(t, x, g, 0, "other feed")
	for _, expect := range []uint64{0, two, one + 100} {
		if _, err := x.Publish(within(t), f, expect, []byte("x")); !errors.Is(err, exchange.ErrBehind) {
			t.Errorf("behind %d: %v", expect, err)
		}
	}
	publish(t, x, f, one, "two")
}

func TestAPayloadsSizeIsLimited_F24(t *testing.T) {
	t.Parallel()
	_, k, x := oneBench(t, exchange.HostOptions{})
	f := feedOf(t, k, 1)
	largest := bytes.Repeat([]byte{0xa5}, exchange.MaxPayload)
	seq, err := x.Publish(within(t), f, 0, largest)
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range [][]byte{nil, append(largest, 1)} {
		if _, err := x.Publish(within(t), f, seq, bad); !errors.Is(err, exchange.ErrTooLarge) {
			t.Errorf("%d bytes: %v", len(bad), err)
		}
	}
	m, ok, err := x.Last(within(t), f)
	if err != nil || !ok || !bytes.Equal(m.Payload, largest) || m.Hash != sha256.Sum256(largest) || m.Feed != f || m.Epoch != x.Epoch() {
		t.Errorf("last: seq %d, %d bytes, %v, %v", m.Seq, len(m.Payload), ok, err)
	}
	// The stream refuses too, with the server's number for it.
	_, err = x.Conn().Request(shop.Feeds()+f.String(), make([]byte, exchange.MaxMessage+1), 5e9)
	if err != nil {
		t.Fatal(err)
	}
	if m, _, _ := x.Last(within(t), f); m.Seq != seq {
		t.Errorf("the stream took %d", m.Seq)
	}
}

func TestAFeedThatIsNotThereHasNoLast(t *testing.T) {
	t.Parallel()
	_, k, x := oneBench(t, exchange.HostOptions{})
	if _, ok, err := x.Last(within(t), feedOf(t, k, 1)); ok || err != nil {
		t.Errorf("got %v, %v", ok, err)
	}
	if feeds, err := x.Feeds(within(t)); len(feeds) != 0 || err != nil {
		t.Errorf("got %v, %v", feeds, err)
	}
}

// Of several that write one feed at once, exactly one gets each place.
func TestOneOfManyWritersGetsEachPlace_F16(t *testing.T) {
	t.Parallel()
	h, k, first := oneBench(t, exchange.HostOptions{})
	f := feedOf(t, k, 1)
	const writers, places = 4, 25
	all := []*exchange.Exchange{first}
	for range writers - 1 {
		all = append(all, dial(t, to(h, k)))
	}
	var expect uint64
	for place := range places {
		won := make(chan uint64, writers)
		var group sync.WaitGroup
		for w, x := range all {
			group.Go(func() {
				seq, err := x.Publish(within(t), f, expect, fmt.Appendf(nil, "place %d writer %d", place, w))
				switch {
				case err == nil:
					won <- seq
				case !errors.Is(err, exchange.ErrBehind) && !errors.Is(err, exchange.ErrBusy):
					t.Errorf("writer %d: %v", w, err)
				}
			})
		}
		group.Wait()
		if len(won) != 1 {
			t.Fatalf("place %d has %d writers", place, len(won))
		}
		expect = <-won
	}
	r := follow(t, first, exchange.Cursor{})
	if got := r.wait(t, places); len(got) != places {
		t.Errorf("%d messages, want %d", len(got), places)
	}
}

// One connection does not even send a second message of a feed.
func TestOneMessageOfAFeedIsUnderWay_F16(t *testing.T) {
	t.Parallel()
	h, k, _ := oneBench(t, exchange.HostOptions{})
	p := newProxy(t, h.Addr().String())
	x := dial(t, p.to(h, k))
	p.swallow(true)
	f := feedOf(t, k, 1)
	first := make(chan error, 1)
	go func() {
		_, err := x.Publish(within(t), f, 0, []byte("first"))
		first <- err
	}()
	eventually(t, "the answer to the first is lost", func() bool { return p.answers.Load() > 0 })
	if _, err := x.Publish(within(t), f, 7, []byte("second")); !errors.Is(err, exchange.ErrBusy) {
		t.Errorf("the second: %v", err)
	}
	p.swallow(false)
	p.cut()
	if err := <-first; !errors.Is(err, exchange.ErrUnknown) {
		t.Errorf("the first: %v", err)
	}
	eventually(t, "it is connected again", func() bool { return x.State(within(t)).Connected })
	if _, err := x.Publish(within(t), f, 0, []byte("third")); !errors.Is(err, exchange.ErrUnknown) {
		t.Errorf("before the feed was read back: %v", err)
	}
	if m, ok, err := x.Last(within(t), f); err != nil || !ok || string(m.Payload) != "first" {
		t.Errorf("last: %q, %v, %v", m.Payload, ok, err)
	}
	publish(t, x, f, 1, "third")
}

// Each way a publish can end without an acknowledgement, by the server's
// number or the library's error. One that does not say that nothing was stored
// leaves it unknown, and is nothing else besides.
func TestEachEndOfAPublishHasItsClass_F16(t *testing.T) {
	t.Parallel()
	classes := []error{
		exchange.ErrBehind, exchange.ErrBusy, exchange.ErrFull, exchange.ErrTooLarge,
		exchange.ErrNoStream, exchange.ErrOffline, exchange.ErrUnknown,
	}
	api := func(code jetstream.ErrorCode, text string) error {
		return fmt.Errorf("nats: %w", &jetstream.APIError{Code: 400, ErrorCode: code, Description: text})
	}
	for name, c := range map[string]struct{ err, want error }{
		"wrong last sequence":         {api(10071, "wrong last sequence: 3"), exchange.ErrBehind},
		"another in process":          {api(10164, "wrong last sequence"), exchange.ErrBusy},
		"no resources":                {api(10023, "insufficient resources"), exchange.ErrFull},
		"the account's room":          {api(10002, "resource limits exceeded"), exchange.ErrFull},
		"the server's room":           {api(10047, "insufficient storage"), exchange.ErrFull},
		"sealed":                      {api(10109, "sealed"), exchange.ErrFull},
		"bytes of the stream":         {api(10077, "maximum bytes exceeded"), exchange.ErrFull},
		"messages of the stream":      {api(10077, "maximum messages exceeded"), exchange.ErrFull},
		"the disk":                    {api(10077, "no space left on device"), exchange.ErrUnknown},
		"too large for the stream":    {api(10054, "message size exceeds"), exchange.ErrTooLarge},
		"too large for the server":    {nats.ErrMaxPayload, exchange.ErrTooLarge},
		"no such stream":              {api(10059, "stream not found"), exchange.ErrNoStream},
		"a number of a later server":  {api(19999, "something"), exchange.ErrUnknown},
		"no connection":               {nats.ErrReconnectBufExceeded, exchange.ErrOffline},
		"cut while the answer is due": {nats.ErrDisconnected, exchange.ErrUnknown},
		"closed meanwhile":            {nats.ErrConnectionClosed, exchange.ErrUnknown},
		"nobody there to answer":      {jetstream.ErrNoStreamResponse, exchange.ErrUnknown},
		"an answer that is none":      {jetstream.ErrInvalidJSAck, exchange.ErrUnknown},
		"no time left":                {context.DeadlineExceeded, exchange.ErrUnknown},
		"given up":                    {context.Canceled, exchange.ErrUnknown},
	} {
		got := exchange.Published(c.err)
		for _, class := range classes {
			if errors.Is(got, class) != (class == c.want) {
				t.Errorf("%s: got %v, want %v only", name, got, c.want)
			}
		}
	}
}
