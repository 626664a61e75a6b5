package app

import (
	"errors"
	"net"
	"slices"
	"testing"
)

// What a code says of where a host is, by how it listens and what addresses the
// machine has.
func TestAddressesOfACode(t *testing.T) {
	own := func(list ...string) func() ([]net.Addr, error) {
		return func() (addrs []net.Addr, err error) {
			for _, s := range list {
				ip, n, err := net.ParseCIDR(s)
				if err != nil {
					t.Fatal(err)
				}
				addrs = append(addrs, &net.IPNet{IP: ip, Mask: n.Mask})
			}
			return addrs, nil
		}
	}
	both := own("127.0.0.1/8", "::1/128", "192.168.20.5/24", "10.0.0.5/8", "203.0.113.5/24", "2001:db8::5/64", "fe80::5/64", "fd00::5/64", "fd00::6/64")
	for _, c := range []struct {
		listens string
		own     func() ([]net.Addr, error)
		want    []string
	}{
		{"0.0.0.0", both, []string{"192.168.20.5:4747", "10.0.0.5:4747"}},
		{"::", both, []string{"192.168.20.5:4747", "[fd00::5]:4747"}},
		{"::", own("fd00::5/64", "fe80::5/64"), []string{"[fd00::5]:4747"}},
		{"0.0.0.0", own("fd00::5/64"), []string{"127.0.0.1:4747"}},
		{"::", own("2001:db8::5/64", "fe80::5/64"), []string{"127.0.0.1:4747"}},
		{"fd00::6", both, []string{"[fd00::6]:4747"}},
		{"192.168.20.5", both, []string{"192.168.20.5:4747"}},
		{"::", func() ([]net.Addr, error) { return nil, errors.New("no list") }, []string{"127.0.0.1:4747"}},
	} {
		got := reachable(&net.TCPAddr{IP: net.ParseIP(c.listens), Port: 4747}, c.own)
		if !slices.Equal(got, c.want) {
			t.Errorf("listening at %s: %q, want %q", c.listens, got, c.want)
		}
	}
}
