package app

import (
	"fmt"
	"net"

	"oldhand/sync/roster/invite"
)

// reachable are the addresses at which a listener answers other machines, for a
// code, which has few: of a listener on all addresses those of IPv4 that stay in
// the house, then one of IPv6 (RFC 4193), if it listens there. An address that is
// good on one wire alone means another one on another machine and is not told;
// package nearby finds those.
func reachable(a net.Addr, own func() ([]net.Addr, error)) []string {
	tcp, ok := a.(*net.TCPAddr)
	if !ok {
		return nil
	}
	at := func(ip net.IP) string { return net.JoinHostPort(ip.String(), fmt.Sprint(tcp.Port)) }
	if !tcp.IP.IsUnspecified() {
		return []string{at(tcp.IP)}
	}
	var four, six []string
	addrs, err := own()
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		switch {
		case err != nil || !ok || !n.IP.IsPrivate():
		case n.IP.To4() != nil:
			four = append(four, at(n.IP))
		case tcp.IP.To4() == nil:
			six = append(six, at(n.IP))
		}
	}
	if len(six) > 0 {
		four = append(four[:min(len(four), invite.MaxAddresses-1)], six[0])
	}
	if len(four) == 0 {
		four = []string{at(net.IPv4(127, 0, 0, 1))}
	}
	return four[:min(len(four), invite.MaxAddresses)]
}
