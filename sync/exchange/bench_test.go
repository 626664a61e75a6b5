package exchange_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"sync"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"go.uber.org/goleak"
)

// TestMain also demands that nothing goes on after all is closed. A server's
// goroutines take a moment to end.
func TestMain(m *testing.M) {
	code := m.Run()
	if code == 0 {
		var err error
		for range 20 {
			if err = goleak.Find(); err == nil {
				break
			}
			time.Sleep(250 * time.Millisecond)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, "after all is closed:", err)
			code = 1
		}
	}
	os.Exit(code)
}

var shop = exchange.Tag{1, 2, 3}

// within is far beyond what anything here takes.
func within(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	t.Cleanup(cancel)
	return ctx
}

func newKey(t testing.TB) events.BenchKey {
	t.Helper()
	k, err := events.NewBenchKey()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func public(t testing.TB, k events.BenchKey) events.BenchID {
	t.Helper()
	id, err := k.Public()
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func feedOf(t testing.TB, k events.BenchKey, run byte) events.FeedID {
	return events.FeedID{Bench: public(t, k), Incarnation: events.Incarnation{run}}
}

// notes keeps what a person would be told.
type notes struct {
	mu  sync.Mutex
	all []string
}

func (n *notes) warn(text string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.all = append(n.all, text)
}

func (n *notes) said(part string) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, s := range n.all {
		if bytes.Contains([]byte(s), []byte(part)) {
			return true
		}
	}
	return false
}

func (n *notes) mustSay(t testing.TB, part string) {
	t.Helper()
	eventually(t, "it says "+part, func() bool { return n.said(part) })
}

// openHost opens a host with room enough, closed at the test's end.
func openHost(t testing.TB, o exchange.HostOptions) *exchange.Host {
	t.Helper()
	if o.Dir == "" {
		o.Dir = t.TempDir()
	}
	if o.Listen == "" {
		o.Listen = "127.0.0.1:0"
	}
	if o.MaxStore == 0 {
		o.MaxStore = 1 << 30
	}
	if o.LeastFree == 0 {
		o.LeastFree = 1
	}
	h, err := exchange.OpenHost(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeHost(t, h) })
	return h
}

func closeHost(t testing.TB, h *exchange.Host) {
	t.Helper()
	if err := h.Close(); err != nil {
		t.Errorf("close the host: %v", err)
	}
}

// admit lets keys in for the shop.
func admit(t testing.TB, h *exchange.Host, keys ...events.BenchKey) {
	t.Helper()
	if err := h.SetUsers(shop, ids(t, keys...), nil); err != nil {
		t.Fatal(err)
	}
}

func ids(t testing.TB, keys ...events.BenchKey) (all []events.BenchID) {
	for _, k := range keys {
		all = append(all, public(t, k))
	}
	return all
}

// to is how a key comes to a host over the network.
func to(h *exchange.Host, k events.BenchKey) exchange.DialOptions {
	return exchange.DialOptions{
		Addrs: []string{h.Addr().String()}, Pins: []exchange.Pin{h.Pin()},
		Key: k, Tag: shop,
	}
}

func dial(t testing.TB, o exchange.DialOptions) *exchange.Exchange {
	t.Helper()
	x, err := exchange.Dial(within(t), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(x.Close)
	return x
}

// oneBench is a host with one bench connected to it.
func oneBench(t testing.TB, o exchange.HostOptions) (*exchange.Host, events.BenchKey, *exchange.Exchange) {
	t.Helper()
	h, k := openHost(t, o), newKey(t)
	admit(t, h, k)
	return h, k, dial(t, to(h, k))
}

func publish(t testing.TB, x *exchange.Exchange, f events.FeedID, expect uint64, payload string) uint64 {
	t.Helper()
	seq, err := x.Publish(within(t), f, expect, []byte(payload))
	if err != nil {
		t.Fatal(err)
	}
	return seq
}

// fill publishes n payloads on a feed that has none.
func fill(t testing.TB, x *exchange.Exchange, f events.FeedID, word string, n int) (last uint64) {
	t.Helper()
	for i := range n {
		last = publish(t, x, f, last, fmt.Sprintf("%s %d", word, i))
	}
	return last
}

func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(40 * time.Second); !ok(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within 40 seconds: %s", what)
		}
	}
}

// reading is a Follow under way.
type reading struct {
	mu   sync.Mutex
	got  []exchange.Message
	end  chan error
	stop context.CancelFunc
}

// follow follows until the test's end or stop.
func follow(t testing.TB, x *exchange.Exchange, from exchange.Cursor) *reading {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r := &reading{end: make(chan error, 1), stop: cancel}
	done := make(chan struct{})
	go func() {
		defer close(done)
		r.end <- x.Follow(ctx, from, func(m exchange.Message) error {
			if m.Payload == nil {
				return nil // what is no segment
			}
			r.mu.Lock()
			defer r.mu.Unlock()
			r.got = append(r.got, m)
			return nil
		})
	}()
	t.Cleanup(func() { cancel(); <-done })
	return r
}

func (r *reading) messages() []exchange.Message {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]exchange.Message(nil), r.got...)
}

func (r *reading) payloads() (all []string) {
	for _, m := range r.messages() {
		all = append(all, string(m.Payload))
	}
	return all
}

// wait waits until n messages were read.
func (r *reading) wait(t testing.TB, n int) []exchange.Message {
	t.Helper()
	eventually(t, fmt.Sprintf("%d messages are read", n), func() bool { return len(r.messages()) >= n })
	return r.messages()
}
