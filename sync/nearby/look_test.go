package nearby_test

import (
	"fmt"
	"net"
	"net/netip"
	"slices"
	"testing"

	"oldhand/sync/nearby"

	"github.com/hashicorp/mdns"
)

// shop is a made-up network of a house.
var shop = nearby.LinkAt("wire", 1, "192.168.20.5/24")

// answer is what a host of the sign would answer.
func answer(s nearby.Sign, ip string) *mdns.ServiceEntry {
	return &mdns.ServiceEntry{Name: "x." + nearby.Service + ".local.", AddrV4: net.ParseIP(ip), Port: 4747, InfoFields: s.Texts()}
}

func want(signs ...nearby.Sign) nearby.Want {
	w := nearby.Want{Tag: signs[0].Tag}
	for _, s := range signs {
		w.Pins = append(w.Pins, s.Pin)
	}
	return w
}

func found(s nearby.Sign, address string) nearby.Found {
	return nearby.Found{Address: netip.MustParseAddrPort(address), Pin: s.Pin}
}

func TestAnAnswerThatFitsIsFound(t *testing.T) {
	got := shop.Wanted([]*mdns.ServiceEntry{answer(sign(7), "192.168.20.9")}, want(sign(7)))
	if want := []nearby.Found{found(sign(7), "192.168.20.9:4747")}; !slices.Equal(got, want) {
		t.Fatalf("%v, want %v", got, want)
	}
}

// answer6 is what a host of the sign would answer that has IPv6.
func answer6(s nearby.Sign, ip string) *mdns.ServiceEntry {
	e := answer(s, ip)
	e.AddrV4, e.AddrV6IPAddr = nil, &net.IPAddr{IP: net.ParseIP(ip)}
	return e
}

// An address that is good on a wire alone is told with which; one of another
// network, of the world or of IPv4 in disguise is not taken.
func TestAnAnswerOfIPv6IsFoundWhereItCanBe_F25(t *testing.T) {
	l := nearby.LinkAt("wire", 1, "192.168.20.5/24", "fd00:20::5/64", "fe80::5/64")
	for ip, want := range map[string]string{
		"fd00:20::9":          "[fd00:20::9]:4747",
		"fe80::9":             "[fe80::9%wire]:4747",
		"fd00:21::9":          "",
		"2001:db8::9":         "",
		"ff02::1":             "",
		"::":                  "",
		"::1":                 "",
		"::ffff:192.168.20.9": "",
	} {
		got := l.Wanted([]*mdns.ServiceEntry{answer6(sign(7), ip)}, nearby.Want{Pins: []nearby.Pin{sign(7).Pin}})
		if want == "" && len(got) > 0 || want != "" && !slices.Equal(got, []nearby.Found{found(sign(7), want)}) {
			t.Errorf("%s: found %v, want %q", ip, got, want)
		}
	}
}

// Of IPv6 one address is shown, that of the house before that of the wire.
func TestOneAddressOfIPv6IsShownWhereItListens(t *testing.T) {
	wire, air := nearby.LinkAt("wire", 1, "192.168.20.5/24", "fe80::5/64", "fd00:20::5/64", "fd00:20::6/64"), nearby.LinkAt("air", 2, "fe80::5/64")
	for at, want := range map[string][]string{
		"0.0.0.0":     {"wire 192.168.20.5"},
		"::":          {"wire 192.168.20.5", "wire fd00:20::5", "air fe80::5"},
		"fd00:20::6":  {"wire fd00:20::6"},
		"fe80::5%air": {"air fe80::5"},
	} {
		var got []string
		for _, l := range nearby.Only([]nearby.Link{wire, air}, netip.MustParseAddr(at)) {
			for _, p := range l.Own() {
				got = append(got, l.Interface().Name+" "+p.Addr().String())
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("listening at %s: shown at %q, want %q", at, got, want)
		}
	}
}

// A join code has a pin and no tag.
func TestWithoutATagThePinDecides(t *testing.T) {
	w := nearby.Want{Pins: []nearby.Pin{sign(7).Pin}}
	got := shop.Wanted([]*mdns.ServiceEntry{answer(sign(8), "192.168.20.8"), answer(sign(7), "192.168.20.9")}, w)
	if want := []nearby.Found{found(sign(7), "192.168.20.9:4747")}; !slices.Equal(got, want) {
		t.Fatalf("%v, want %v", got, want)
	}
}

// One subtest for each reason to drop an answer (P10, F25, F26).
func TestWhatDoesNotFitIsDropped_P10_F25_F26(t *testing.T) {
	other := sign(7)
	other.Tag = sign(8).Tag
	for name, spoil := range map[string]func(*mdns.ServiceEntry){
		"another shop's":             func(e *mdns.ServiceEntry) { e.InfoFields = other.Texts() },
		"an exchange nobody knows":   func(e *mdns.ServiceEntry) { e.InfoFields = nearby.Sign{Tag: sign(7).Tag, Pin: nearby.Pin{1}}.Texts() },
		"no sign":                    func(e *mdns.ServiceEntry) { e.InfoFields = []string{"txtvers=1"} },
		"no address":                 func(e *mdns.ServiceEntry) { e.AddrV4 = nil },
		"half an address":            func(e *mdns.ServiceEntry) { e.AddrV4 = net.IP{192, 168} },
		"a host elsewhere":           func(e *mdns.ServiceEntry) { e.AddrV4 = net.IPv4(203, 0, 113, 9) },
		"a neighbouring network":     func(e *mdns.ServiceEntry) { e.AddrV4 = net.IPv4(192, 168, 21, 9) },
		"this machine's own inside":  func(e *mdns.ServiceEntry) { e.AddrV4 = net.IPv4(127, 0, 0, 1) },
		"everybody":                  func(e *mdns.ServiceEntry) { e.AddrV4 = net.IPv4(224, 0, 0, 251) },
		"nobody":                     func(e *mdns.ServiceEntry) { e.AddrV4 = net.IPv4zero },
		"port 0":                     func(e *mdns.ServiceEntry) { e.Port = 0 },
		"a port that can't be":       func(e *mdns.ServiceEntry) { e.Port = 70000 },
		"a port below all":           func(e *mdns.ServiceEntry) { e.Port = -1 },
		"an answer for another call": func(e *mdns.ServiceEntry) { e.Name = "x._printer._tcp.local." },
		"a name that only ends so":   func(e *mdns.ServiceEntry) { e.Name = "x" + nearby.Service + ".local." },
	} {
		t.Run(name, func(t *testing.T) {
			e := answer(sign(7), "192.168.20.9")
			spoil(e)
			if got := shop.Wanted([]*mdns.ServiceEntry{e}, want(sign(7))); len(got) > 0 {
				t.Errorf("found %v", got)
			}
		})
	}
}

// An interface whose network is everything leads to no group and to nobody.
func TestGroupsAreNoAddressWhateverTheNetwork(t *testing.T) {
	all := nearby.LinkAt("odd", 1, "10.0.0.1/0")
	for ip, ok := range map[string]bool{"10.0.0.2": true, "224.0.0.251": false, "0.0.0.0": false} {
		if got := all.Has(netip.MustParseAddr(ip)); got != ok {
			t.Errorf("%s: %v, want %v", ip, got, ok)
		}
	}
}

// A flood costs a bounded number of looks and of tries (F24).
func TestAFloodIsCut_F24(t *testing.T) {
	var many []*mdns.ServiceEntry
	for i := range 250 {
		many = append(many, answer(sign(7), fmt.Sprintf("192.168.20.%d", i+1)))
	}
	if got := shop.Wanted(many, want(sign(7))); len(got) != nearby.MaxFound || got[0] != found(sign(7), "192.168.20.1:4747") {
		t.Errorf("found %d, want the first %d: %v", len(got), nearby.MaxFound, got)
	}
	lies := make([]*mdns.ServiceEntry, nearby.MaxAnswers)
	for i := range lies {
		lies[i] = answer(sign(8), "192.168.20.66")
	}
	truth := answer(sign(7), "192.168.20.9")
	if got := shop.Wanted(append(lies[1:], truth), want(sign(7))); len(got) != 1 {
		t.Errorf("behind %d lies found %v, want one", len(lies)-1, got)
	}
	if got := shop.Wanted(append(lies, truth), want(sign(7))); len(got) != 0 {
		t.Errorf("behind %d lies found %v, want none", len(lies), got)
	}
}

func TestAnAnswerThatComesTwiceIsGivenOnce(t *testing.T) {
	e := answer(sign(7), "192.168.20.9")
	if got := shop.Wanted([]*mdns.ServiceEntry{e, e}, want(sign(7))); len(got) != 1 {
		t.Fatalf("found %v", got)
	}
}

func TestOnlyTheAddressThatListensIsShown(t *testing.T) {
	wire, air := nearby.LinkAt("wire", 1, "192.168.20.5/24", "10.1.1.1/8"), nearby.LinkAt("air", 2, "192.168.30.5/24")
	list := []nearby.Link{wire, air}
	for at, want := range map[string][]string{
		"0.0.0.0":      {"wire 192.168.20.5", "wire 10.1.1.1", "air 192.168.30.5"},
		"::":           {"wire 192.168.20.5", "wire 10.1.1.1", "air 192.168.30.5"},
		"10.1.1.1":     {"wire 10.1.1.1"},
		"192.168.30.5": {"air 192.168.30.5"},
		"192.168.20.9": nil,
	} {
		var got []string
		for _, l := range nearby.Only(list, netip.MustParseAddr(at)) {
			for _, p := range l.Own() {
				got = append(got, l.Interface().Name+" "+p.Addr().String())
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("listening at %s: shown at %q, want %q", at, got, want)
		}
	}
	if len(list[0].Own()) != 2 {
		t.Error("asking changed the list")
	}
}
