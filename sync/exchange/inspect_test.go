package exchange_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/sync/exchange"
)

func TestAHostThatStandsAsItShouldIsInspectedWithoutAWord(t *testing.T) {
	t.Parallel()
	h, _, near := oneBench(t, exchange.HostOptions{MaxStore: 123 << 20})
	for range 2 { // the second on the same server, with a login of its own again
		i, err := h.Inspect(within(t), shop)
		if err != nil {
			t.Fatal(err)
		}
		if len(i.Wrong()) > 0 || !i.SyncAlways || !i.TLS || i.Tried == 0 || i.MaxStore != 123<<20 {
			t.Errorf("%+v: %q", i, i.Wrong())
		}
	}
	if s := near.State(within(t)); !s.Answers || s.Messages != 0 {
		t.Errorf("what was tried left something: %+v", s)
	}
	if _, err := h.Inspect(within(t), exchange.Tag{9}); !errors.Is(err, exchange.ErrClosed) {
		t.Errorf("another shop: %v", err)
	}
}

// A stream that somebody loosened while the server runs is told by what it is set to
// now, not by how it was made.
func TestAHostsStreamThatWasLoosenedIsSaid(t *testing.T) {
	t.Parallel()
	h, _, _ := oneBench(t, exchange.HostOptions{})
	js := h.JetStream(shop)
	info, err := js.Stream(within(t), shop.Stream())
	if err != nil {
		t.Fatal(err)
	}
	c := info.CachedInfo().Config
	c.MaxAge = time.Hour
	if _, err := js.UpdateStream(within(t), c); err != nil {
		t.Fatal(err)
	}
	i, err := h.Inspect(within(t), shop)
	if err != nil || !slices.Contains(i.Wrong(), "it drops messages older than 1h0m0s") {
		t.Errorf("%q, %v", i.Wrong(), err)
	}
}

// With the rights of the host itself all that no bench may do is let through, and
// said.
func TestWhatABenchMayTakeAwayIsFoundByTryingIt(t *testing.T) {
	t.Parallel()
	h, _, _ := oneBench(t, exchange.HostOptions{})
	h.ProbeAsHost(shop)
	i, err := h.Inspect(within(t), shop)
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(i.Wrong(), "\n")
	for _, must := range []string{"a bench may take history away", "$JS.API.STREAM.DELETE.>", "$JS.API.STREAM.PURGE.>", "$JS.API.STREAM.MSG.DELETE.>"} {
		if !strings.Contains(said, must) {
			t.Errorf("%q is not in %q", must, said)
		}
	}
}
