package exchange_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"
)

// writer publishes on a feed as a bench has to: after an unclear end it reads
// the feed's last message and goes on from there.
type writer struct {
	x      *exchange.Exchange
	feed   events.FeedID
	at     uint64 // stream sequence of the last message known
	sent   []string
	stored int // acknowledgements that were lost though the message was stored
	tries  int
	acked  atomic.Int64 // length of sent, for others to look at
}

// write publishes one payload, through however many cuts.
func (w *writer) write(ctx context.Context, payload string) error {
	for {
		w.tries++
		seq, err := w.x.Publish(ctx, w.feed, w.at, []byte(payload))
		switch {
		case err == nil:
			w.done(seq, payload)
			return nil
		case errors.Is(err, exchange.ErrOffline):
			time.Sleep(5 * time.Millisecond)
		case errors.Is(err, exchange.ErrUnknown), errors.Is(err, exchange.ErrBusy), errors.Is(err, exchange.ErrBehind):
			done, err := w.readBack(ctx, payload)
			if done || err != nil {
				return err
			}
		default:
			return err
		}
	}
}

func (w *writer) done(seq uint64, payload string) {
	w.at, w.sent = seq, append(w.sent, payload)
	w.acked.Add(1)
}

// readBack finds out whether the payload was stored. It compares hashes: the
// number alone could be somebody else's.
func (w *writer) readBack(ctx context.Context, payload string) (stored bool, err error) {
	for {
		m, ok, err := w.x.Last(ctx, w.feed)
		switch {
		case err == nil && ok && m.Hash == sha256.Sum256([]byte(payload)):
			w.done(m.Seq, payload)
			w.stored++
			return true, nil
		case err == nil && m.Seq == w.at:
			return false, nil
		case err == nil:
			return false, fmt.Errorf("feed ends at %d, last known %d", m.Seq, w.at)
		case ctx.Err() != nil:
			return false, err
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// Over many cuts, with and without the answer swallowed before, a publisher
// that reads back and a follower that drops nothing come to the same.
func TestCutsLoseNothingAndDoubleNothing_F15_F16_P4(t *testing.T) {
	t.Parallel()
	h, k, _ := oneBench(t, exchange.HostOptions{})
	out, in := newProxy(t, h.Addr().String()), newProxy(t, h.Addr().String())
	reader := follow(t, dial(t, in.to(h, k)), exchange.Cursor{})
	w := &writer{x: dial(t, out.to(h, k)), feed: feedOf(t, k, 1)}
	draw := rand.New(rand.NewPCG(1, 2))
	const cuts, between = 24, 3
	for cut := range cuts {
		for i := range between {
			if i == between-1 {
				deafen(t, out, draw.IntN(2) == 0)
			}
			if err := w.write(within(t), fmt.Sprintf("cut %d message %d", cut, i)); err != nil {
				t.Fatal(err)
			}
		}
		in.cut()
	}
	t.Logf("%d payloads in %d tries, %d acknowledgements lost", len(w.sent), w.tries, w.stored)
	if w.stored == 0 {
		t.Error("no acknowledgement was lost, so nothing was tried")
	}
	reader.wait(t, len(w.sent))
	if got := reader.payloads(); !slices.Equal(got, w.sent) {
		t.Errorf("read %d: %q\nsent %d: %q", len(got), got, len(w.sent), w.sent)
	}
	if m, _, err := w.x.Last(within(t), w.feed); err != nil || m.Seq != uint64(len(w.sent)) {
		t.Errorf("the feed ends at %d, %v; want %d", m.Seq, err, len(w.sent))
	}
}

// deafen cuts a line soon: at once, or once an answer to what comes was lost.
func deafen(t testing.TB, p *proxy, loseAnswer bool) {
	t.Helper()
	if loseAnswer {
		p.swallow(true)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for end := time.Now().Add(time.Second); loseAnswer && p.answers.Load() == 0 && time.Now().Before(end); {
			time.Sleep(time.Millisecond)
		}
		p.cut()
		p.swallow(false)
	}()
	t.Cleanup(func() { <-done })
}

// A publish whose connection is cut ends then, long before its time is up.
func TestACutEndsAPendingPublishAtOnce_F16(t *testing.T) {
	t.Parallel()
	h, k, _ := oneBench(t, exchange.HostOptions{})
	p := newProxy(t, h.Addr().String())
	o := p.to(h, k)
	o.Timeout = time.Hour
	x := dial(t, o)
	p.swallow(true)
	ended := make(chan error, 1)
	go func() {
		_, err := x.Publish(within(t), feedOf(t, k, 1), 0, []byte("x"))
		ended <- err
	}()
	eventually(t, "the answer is lost", func() bool { return p.answers.Load() > 0 })
	nowhere := "127.0.0.1:1" // it does not come back, either
	p.target.Store(&nowhere)
	p.cut()
	select {
	case err := <-ended:
		if !errors.Is(err, exchange.ErrUnknown) || errors.Is(err, exchange.ErrOffline) {
			t.Errorf("got %v, want ErrUnknown and nothing that says it was not sent", err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("the publish still waits")
	}
}

// An exchange that does not answer leaves it unknown too.
func TestNoAnswerIsUnknown_F16(t *testing.T) {
	t.Parallel()
	h, k, _ := oneBench(t, exchange.HostOptions{})
	p := newProxy(t, h.Addr().String())
	o := p.to(h, k)
	o.Timeout = 200 * time.Millisecond
	x := dial(t, o)
	p.swallow(true)
	if _, err := x.Publish(within(t), feedOf(t, k, 1), 0, []byte("x")); !errors.Is(err, exchange.ErrUnknown) {
		t.Errorf("got %v", err)
	}
}

// Without a connection nothing is sent, also not later.
func TestOfflineSendsNothing_P2(t *testing.T) {
	t.Parallel()
	h, k, x := oneBench(t, exchange.HostOptions{})
	p := newProxy(t, h.Addr().String())
	away := dial(t, p.to(h, k))
	nowhere := "127.0.0.1:1"
	p.target.Store(&nowhere)
	p.cut()
	f := feedOf(t, k, 1)
	eventually(t, "it is offline", func() bool { return !away.State(within(t)).Connected })
	for range 3 {
		if _, err := away.Publish(within(t), f, 0, []byte("x")); !errors.Is(err, exchange.ErrOffline) || errors.Is(err, exchange.ErrUnknown) {
			t.Errorf("publish: %v", err)
		}
	}
	if _, err := away.Feeds(within(t)); !errors.Is(err, exchange.ErrOffline) {
		t.Errorf("feeds: %v", err)
	}
	back := h.Addr().String()
	p.target.Store(&back)
	eventually(t, "it is connected again", func() bool { return away.State(within(t)).Connected })
	if s := x.State(within(t)); s.Messages != 0 {
		t.Errorf("%d messages were sent later", s.Messages)
	}
}
