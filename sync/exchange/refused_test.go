package exchange_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats-server/v2/server"
)

// hears gives the next login that a host heard was refused.
func hears(t *testing.T, heard <-chan events.BenchID) events.BenchID {
	t.Helper()
	select {
	case id := <-heard:
		return id
	case <-within(t).Done():
		t.Fatal("the host hears of no refused login")
	}
	return events.BenchID{}
}

// A host hears of each login that it refuses, once, and of no other.
func TestAHostHearsOfRefusedLogins_F25(t *testing.T) {
	t.Parallel()
	heard := make(chan events.BenchID, 1000)
	h := openHost(t, exchange.HostOptions{OnRefused: func(id events.BenchID) { heard <- id }, OnJoin: func(exchange.Tag, exchange.Guest, []byte) []byte { return []byte("yes") }})
	guest := newKey(t)
	if err := h.SetUsers(shop, nil, []exchange.Guest{exchange.Guest(public(t, guest))}); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		stranger := newKey(t)
		if _, err := exchange.Ask(within(t), to(h, stranger), []byte("x")); !errors.Is(err, exchange.ErrNotAdmitted) {
			t.Fatalf("a stranger: %v", err)
		}
		if got := hears(t, heard); got != public(t, stranger) {
			t.Errorf("heard of %s, want %s", got, public(t, stranger))
		}
		if _, err := exchange.Ask(within(t), to(h, guest), []byte("x")); err != nil {
			t.Fatal(err)
		}
	}

	// Many at once, and after the server's users were changed.
	if err := h.SetUsers(shop, nil, nil); err != nil {
		t.Fatal(err)
	}
	var want []events.BenchID
	for range 20 {
		stranger := newKey(t)
		want = append(want, public(t, stranger))
		go func() { _, _ = exchange.Ask(within(t), to(h, stranger), []byte("x")) }()
	}
	for len(want) > 0 {
		got := hears(t, heard)
		i := slices.Index(want, got)
		if i < 0 {
			t.Fatalf("heard of %s, or twice of it", got)
		}
		want = slices.Delete(want, i, i+1)
	}
	select {
	case got := <-heard:
		t.Errorf("heard of %s besides", got)
	case <-time.After(300 * time.Millisecond):
	}
	ended, err := h.Server().Connz(&server.ConnzOptions{State: server.ConnClosed})
	if err != nil || len(ended.Conns) > 1 {
		t.Errorf("the server keeps what %d said who were turned away: %v", len(ended.Conns), err)
	}
}
