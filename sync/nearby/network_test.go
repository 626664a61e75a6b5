package nearby_test

import (
	"context"
	"errors"
	"net"
	"net/netip"
	"slices"
	"testing"

	"oldhand/events/sharedtest"
	"oldhand/sync/nearby"

	"go.uber.org/goleak"
)

// somewhere is a network of this machine that carries multicast.
func somewhere(t *testing.T) nearby.Link {
	t.Helper()
	return nearby.LinkOf(sharedtest.Multicast(t, true))
}

// Two shops' exchanges are shown on the same network; each bench finds its own,
// and what is closed is not found.
func TestABenchFindsItsOwnShopsExchange_F26(t *testing.T) {
	l := somewhere(t)
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	here := func() ([]nearby.Link, error) { return []nearby.Link{l}, nil }
	at := func(port uint16) netip.AddrPort { return netip.AddrPortFrom(l.Own()[0].Addr(), port) }
	ours, theirs := sign(7), sign(8)
	a, b := nearby.AdvertiseOn(ours, at(4747), here), nearby.AdvertiseOn(theirs, at(4748), here)
	if shown, err := a.Shown(); err != nil || !slices.Equal(shown, []netip.AddrPort{at(4747)}) {
		t.Fatalf("shown at %v, %v", shown, err)
	}
	look := func(w nearby.Want) []nearby.Found {
		t.Helper()
		got, err := nearby.LookOn(t.Context(), []nearby.Link{l}, w)
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	for s, port := range map[nearby.Sign]uint16{ours: 4747, theirs: 4748} {
		if got := look(want(s)); !slices.Equal(got, []nearby.Found{{Address: at(port), Pin: s.Pin}}) {
			t.Errorf("found %v, want one at %v", got, at(port))
		}
	}
	if err := errors.Join(a.Close(), b.Close()); err != nil {
		t.Fatal(err)
	}
	if got := look(want(ours)); len(got) > 0 {
		t.Errorf("found after it was closed: %v", got)
	}
}

// An exchange that listens by IPv6 is found by it, whichever of both carries the
// question.
func TestAnExchangeIsFoundByIPv6(t *testing.T) {
	l := somewhere(t)
	six := l.Six()
	if !six.IsValid() {
		t.Skip("the network has no IPv6 address that stays in the house or on the wire")
	}
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	a := nearby.AdvertiseOn(sign(7), netip.AddrPortFrom(six, 4747), func() ([]nearby.Link, error) { return []nearby.Link{l}, nil })
	defer a.Close()
	for name, by := range map[string]nearby.Link{"both": l, "IPv6 alone": l.WithoutIPv4()} {
		got, err := nearby.LookOn(t.Context(), []nearby.Link{by}, want(sign(7)))
		if err != nil || len(got) != 1 || got[0].Address.Addr().WithZone("") != six {
			t.Errorf("asked by %s: found %v (%v), want %v", name, got, err, six)
		}
	}
}

// A laptop is carried from one network to another while it hosts.
func TestAnAdvertFollowsTheNetworks(t *testing.T) {
	l := somewhere(t)
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	at := netip.AddrPortFrom(netip.IPv4Unspecified(), 4747)
	on := func(list ...nearby.Link) func() ([]nearby.Link, error) {
		return func() ([]nearby.Link, error) { return list, nil }
	}
	i := l.Interface()
	first := nearby.LinkAt(i.Name, i.Index, "192.168.20.5/24")
	second := nearby.LinkAt(i.Name, i.Index, "192.168.30.5/24")
	a := nearby.AdvertiseOn(sign(7), at, on())
	defer a.Close()
	for _, step := range []struct {
		links func() ([]nearby.Link, error)
		want  []string
	}{
		{on(), nil},
		{on(first), []string{"192.168.20.5:4747"}},
		{on(first, second), []string{"192.168.20.5:4747", "192.168.30.5:4747"}},
		{on(second), []string{"192.168.30.5:4747"}},
		{on(), nil},
	} {
		a.Renew(step.links)
		shown, err := a.Shown()
		var got []string
		for _, s := range shown {
			got = append(got, s.String())
		}
		if err != nil || !slices.Equal(got, step.want) {
			t.Errorf("shown at %v, %v; want %v", got, err, step.want)
		}
	}
	down := errors.New("no list of networks")
	a.Renew(func() ([]nearby.Link, error) { return nil, down })
	if _, err := a.Shown(); !errors.Is(err, down) {
		t.Errorf("%v, want that the networks can't be listed", err)
	}
}

// Where no network can be asked, that is said: it is another thing than that
// nobody answers.
func TestALookThatCanAskNobodySaysSo(t *testing.T) {
	gone := nearby.LinkAt("gone", 1<<30, "192.168.20.5/24")
	if got, err := nearby.LookOn(t.Context(), []nearby.Link{gone}, want(sign(7))); err == nil {
		t.Errorf("found %v", got)
	}
}

func TestALookEndsWithItsContext(t *testing.T) {
	l := somewhere(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if got, err := nearby.LookOn(ctx, []nearby.Link{l}, want(sign(7))); !errors.Is(err, context.Canceled) {
		t.Errorf("found %v, %v", got, err)
	}
}

func TestAnExchangeForThisMachineAloneIsNotShown(t *testing.T) {
	for _, ip := range []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback} {
		if _, err := nearby.Advertise(&net.TCPAddr{IP: ip, Port: 4747}, sign(7)); !errors.Is(err, nearby.ErrOnlyHere) {
			t.Errorf("%v: %v", ip, err)
		}
	}
	for _, a := range []net.Addr{&net.TCPAddr{IP: net.IPv4zero}, &net.UnixAddr{Name: "x"}, nil} {
		if _, err := nearby.Advertise(a, sign(7)); err == nil {
			t.Errorf("%v is shown", a)
		}
	}
}

// The whole of it, as the program uses it, on whatever networks there are.
func TestAdvertiseAndClose(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	a, err := nearby.Advertise(&net.TCPAddr{IP: net.IPv4zero, Port: 4747}, sign(7))
	if err != nil {
		t.Fatal(err)
	}
	shown, why := a.Shown()
	list, err := nearby.Links()
	if err != nil {
		t.Fatal(err)
	}
	if len(list) > 0 && len(shown) == 0 && why == nil {
		t.Errorf("%d networks, shown on none, and no reason", len(list))
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
}
