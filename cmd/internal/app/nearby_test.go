package app_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/sharedtest"
	"oldhand/sync/exchange"
	"oldhand/sync/nearby"
	"oldhand/sync/roster/invite"
)

// house is a folder of the test's with shops in it, and what their benches were
// told.
type house struct {
	dir  string
	said []string
	asks int // how often a bench looked around
}

func newHouse(t *testing.T) *house { return &house{dir: t.TempDir()} }

func (h *house) at(name string) string { return filepath.Join(h.dir, name) }

// options are those of a bench that finds these addresses when it looks around,
// each shown as the exchange that is wanted: anybody can show anything.
func (h *house) options(addresses ...string) app.Options {
	return app.Options{
		State: h.at("state"),
		Wait:  20 * time.Second,
		Warn:  func(s string) { h.said = append(h.said, s) },
		Around: func(_ context.Context, w nearby.Want) (list []nearby.Found, err error) {
			h.asks++
			for _, a := range addresses {
				for _, p := range w.Pins {
					list = append(list, nearby.Found{Address: netip.MustParseAddrPort(a), Pin: p})
				}
			}
			return list, nil
		},
	}
}

// found founds a shop with one bench.
func (h *house) found(t *testing.T, name string) {
	t.Helper()
	s, err := app.Found(h.at(name), "Quarry Lane Radio", "front", h.options())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// host hosts a folder's exchange until end is called, and gives its address.
func (h *house) host(t *testing.T, name, listen string) (hosting *app.Hosting, address string, end func()) {
	t.Helper()
	hosting, err := app.OpenHosting(t.Context(), h.at(name), listen, app.Options{State: h.at("state")}, func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- hosting.Run(ctx) }()
	end = sync.OnceFunc(func() {
		cancel()
		if err := errors.Join(<-done, hosting.Close()); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(end)
	return hosting, hosting.Hosted.Addresses[0], end
}

// invite makes a join code at the folder that hosts.
func (h *house) invite(t *testing.T, name string) string {
	t.Helper()
	s, err := app.Open(h.at(name), h.options())
	if err != nil {
		t.Fatal(err)
	}
	in, err := s.Invite()
	if err := errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
	return in.Code
}

// join makes a bench and has it meet the exchange.
func (h *house) join(t *testing.T, name, code string, o app.Options) {
	t.Helper()
	if j, err := app.Join(t.Context(), h.at(name), []string{code}, name, o); err != nil || j.Note != "" {
		t.Fatalf("%v; %s", err, j.Note)
	}
}

func (h *house) sync(t *testing.T, name string, o app.Options, addresses ...string) (m app.Met, err error) {
	t.Helper()
	r, err := app.Find(t.Context(), h.at(name), addresses, o)
	if err != nil {
		return m, err
	}
	defer r.Close()
	s, err := app.Open(h.at(name), o)
	if err != nil {
		t.Fatal(err)
	}
	m, err = s.Meet(t.Context(), r, app.Patient, nil)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return m, err
}

// A bench joins and syncs by IPv6, and remembers that address.
func TestABenchJoinsByIPv6(t *testing.T) {
	sharedtest.IPv6(t)
	h := newHouse(t)
	h.found(t, "front")
	_, address, _ := h.host(t, "front", "[::1]:0")
	if !strings.HasPrefix(address, "[::1]:") {
		t.Fatalf("the code says %s", address)
	}
	h.join(t, "attic", h.invite(t, "front"), h.options())
	if m, err := h.sync(t, "attic", h.options()); err != nil || m.With != address {
		t.Errorf("met %q (%v), want %s", m.With, err, address)
	}
}

// remembered are the addresses that a bench tries first.
func (h *house) remembered(t *testing.T, name string) []string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(h.at(name), "exchanges.json"))
	if err != nil {
		t.Fatal(err)
	}
	var known []app.KnownExchange
	if err := json.Unmarshal(b, &known); err != nil || len(known) != 1 {
		t.Fatalf("%s: %v", b, err)
	}
	return known[0].Addresses
}

const anyPort = "127.0.0.1:0"

// moved is a shop with a second bench, whose exchange went to another address.
func moved(t *testing.T) (h *house, before, after string) {
	t.Helper()
	h = newHouse(t)
	h.found(t, "front")
	_, before, end := h.host(t, "front", anyPort)
	h.join(t, "attic", h.invite(t, "front"), h.options())
	end()
	// With no code open the second host has no reason to change whom it lets in,
	// which keeps everybody out for a moment.
	if err := os.RemoveAll(filepath.Join(h.at("front"), "exchange", "codes")); err != nil {
		t.Fatal(err)
	}
	_, after, _ = h.host(t, "front", anyPort)
	h.said, h.asks = nil, 0
	return h, before, after
}

func TestAnExchangeThatMovedIsFoundAndRemembered(t *testing.T) {
	h, before, after := moved(t)
	if m, err := h.sync(t, "attic", h.options(after)); err != nil || !m.AllHere || !m.AllThere {
		t.Fatalf("%+v, %v", m, err)
	}
	if said := strings.Join(h.said, "\n"); !strings.Contains(said, "local network, at "+after) {
		t.Errorf("said %q, not where it was found", said)
	}
	if got := h.remembered(t, "attic"); !slices.Equal(got, []string{after, before}) {
		t.Errorf("remembered %v, want %s and then %s", got, after, before)
	}
	if _, err := h.sync(t, "attic", h.options()); err != nil || h.asks != 1 {
		t.Errorf("the next time: looked around %d times in all, %v; want once", h.asks, err)
	}
}

// Who lies about an address, or answers there with another key, costs a try and
// gets nothing; the true one is found behind him (P10, F25).
func TestALiarOnTheNetworkWinsNothing_P10_F25(t *testing.T) {
	h, before, after := moved(t)
	h.found(t, "stranger")
	_, liar, _ := h.host(t, "stranger", anyPort)
	if m, err := h.sync(t, "attic", h.options(liar, "127.0.0.1:1")); err == nil {
		t.Fatalf("met %+v", m)
	} else if !strings.Contains(err.Error(), before) {
		t.Errorf("%v does not name the address where the exchange was, %s", err, before)
	}
	if got := h.remembered(t, "attic"); !slices.Equal(got, []string{before}) || len(h.said) > 0 {
		t.Errorf("remembered %v, said %q", got, h.said)
	}
	if _, err := h.sync(t, "attic", h.options(liar, "127.0.0.1:1", after)); err != nil {
		t.Error(err)
	}
	if got := h.remembered(t, "attic"); !slices.Equal(got, []string{after, before}) {
		t.Errorf("remembered %v", got)
	}
}

func TestWithATypedAddressNobodyLooksAround(t *testing.T) {
	h, before, after := moved(t)
	if _, err := h.sync(t, "attic", h.options(after), before); err == nil || h.asks != 0 {
		t.Errorf("%v, looked around %d times", err, h.asks)
	}
	if _, err := h.sync(t, "attic", h.options(), after); err != nil || h.asks != 0 {
		t.Errorf("%v, looked around %d times", err, h.asks)
	}
}

// An exchange that turns the bench away is there: there is nothing to look for.
func TestAnExchangeThatTurnsABenchAwayIsNotLookedFor(t *testing.T) {
	h := newHouse(t)
	h.found(t, "front")
	_, address, end := h.host(t, "front", anyPort)
	h.join(t, "attic", h.invite(t, "front"), h.options())
	end()
	key, err := events.NewBenchKey()
	if err != nil {
		t.Fatal(err)
	}
	other, err := key.Public()
	if err != nil {
		t.Fatal(err)
	}
	turnsAway := func(listen string) *exchange.Host {
		x, err := exchange.OpenHost(exchange.HostOptions{Dir: filepath.Join(h.at("front"), "exchange", "store"), Listen: listen})
		if err != nil {
			t.Fatal(err)
		}
		if err := x.SetUsers(exchange.Tag{1}, []events.BenchID{other}, nil); err != nil {
			t.Fatal(err)
		}
		return x
	}
	h.asks = 0
	x := turnsAway(address)
	if _, err := h.sync(t, "attic", h.options(address)); !errors.Is(err, exchange.ErrNotAdmitted) || h.asks != 0 {
		t.Errorf("%v, looked around %d times", err, h.asks)
	}
	if err := x.Close(); err != nil {
		t.Fatal(err)
	}
	x = turnsAway(anyPort)
	defer x.Close()
	if _, err := h.sync(t, "attic", h.options(x.Addr().String())); !errors.Is(err, exchange.ErrNotAdmitted) || h.asks != 1 {
		t.Errorf("%v, looked around %d times; want that the exchange it found turns it away", err, h.asks)
	}
}

// A code need not say where.
func TestABenchJoinsWithACodeThatNamesNoAddress(t *testing.T) {
	h := newHouse(t)
	h.found(t, "front")
	_, address, _ := h.host(t, "front", anyPort)
	c, err := invite.Read(h.invite(t, "front"))
	if err != nil {
		t.Fatal(err)
	}
	c.Addresses = nil
	code, err := c.Text()
	if err != nil {
		t.Fatal(err)
	}
	var wrong *app.Wrong
	if _, err := app.Join(t.Context(), h.at("attic"), []string{code}, "attic", h.options("127.0.0.1:1")); !errors.As(err, &wrong) {
		t.Errorf("with nobody there: %v", err)
	}
	h.join(t, "attic", code, h.options("127.0.0.1:1", address))
	if got := h.remembered(t, "attic"); !slices.Equal(got, []string{address}) {
		t.Errorf("remembered %v, want %s", got, address)
	}
	if said := strings.Join(h.said, "\n"); !strings.Contains(said, "local network, at "+address) {
		t.Errorf("said %q, not where it was found", said)
	}
}

// The code of an exchange that moved since still leads there, and is used once.
func TestACodeLeadsToAnExchangeThatMoved(t *testing.T) {
	h := newHouse(t)
	h.found(t, "front")
	_, before, end := h.host(t, "front", anyPort)
	code := h.invite(t, "front")
	end()
	_, after, _ := h.host(t, "front", anyPort)
	h.join(t, "attic", code, h.options(after))
	if got := h.remembered(t, "attic"); !slices.Equal(got, []string{after, before}) {
		t.Errorf("remembered %v, want %s and then %s", got, after, before)
	}
	h.said, h.asks = nil, 0
	if j, err := app.Join(t.Context(), h.at("van"), []string{code}, "van", h.options(after)); err == nil || h.asks != 1 || len(h.said) > 0 {
		t.Errorf("a used code: %+v, %v, looked around %d times, said %q", j, err, h.asks, h.said)
	}
	if j, err := app.Join(t.Context(), h.at("van"), []string{h.invite(t, "front"), "127.0.0.1:1"}, "van", h.options(after)); err == nil || h.asks != 1 {
		t.Errorf("with a typed address: %+v, %v, looked around %d times in all", j, err, h.asks)
	}
}

// All of it with the network that is there.
func TestABenchFindsAHostOnTheRealNetwork(t *testing.T) {
	sharedtest.Multicast(t, false)
	h := newHouse(t)
	h.found(t, "front")
	_, before, end := h.host(t, "front", anyPort)
	h.join(t, "attic", h.invite(t, "front"), h.options())
	end()
	hosting, _, _ := h.host(t, "front", "0.0.0.0:0")
	a, err := hosting.Advertise()
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	o := h.options()
	o.Around = nearby.Look
	if m, err := h.sync(t, "attic", o); err != nil || !m.AllHere {
		t.Fatalf("%+v, %v", m, err)
	}
	shown, err := a.Shown()
	got := h.remembered(t, "attic")
	if len(got) != 2 || got[1] != before || !slices.Contains(shown, netip.MustParseAddrPort(got[0])) {
		t.Errorf("remembered %v, shown at %v, %v", got, shown, err)
	}
}
