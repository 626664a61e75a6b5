package exchange_test

import (
	"fmt"
	"net"
	"testing"

	"oldhand/events"
	"oldhand/events/sharedtest"
	"oldhand/sync/exchange"
)

// An exchange is reached by IPv6, also at an address that says by which of the
// machine's networks, and one that listens on all by IPv4 as well.
func TestAnExchangeIsReachedByIPv6(t *testing.T) {
	t.Parallel()
	zone := sharedtest.IPv6(t).Name
	for listen, hosts := range map[string][]string{
		"[::1]:0": {"::1", "::1%" + zone},
		"[::]:0":  {"::1", "::1%" + zone, "127.0.0.1"},
	} {
		h, key := openHost(t, exchange.HostOptions{Listen: listen}), newKey(t)
		if err := h.SetUsers(shop, []events.BenchID{public(t, key)}, nil); err != nil {
			t.Fatal(err)
		}
		for _, host := range hosts {
			o := to(h, key)
			o.Addrs = []string{net.JoinHostPort(host, fmt.Sprint(h.Addr().(*net.TCPAddr).Port))}
			x, err := exchange.Dial(within(t), o)
			if err != nil {
				t.Errorf("listening at %s, by %s: %v", listen, o.Addrs[0], err)
				continue
			}
			x.Close()
		}
	}
}
