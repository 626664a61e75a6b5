package nearby

import (
	"net"
	"net/netip"
	"slices"
)

// link is a network that this machine stands in: an interface, and its
// addresses there with the size of the network around each.
type link struct {
	iface net.Interface
	own   []netip.Prefix
}

// links are the networks on which others can be. Loopback has nobody else, and
// what leads to one single other machine leads out of the house.
func links() ([]link, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	var list []link
	for _, i := range all {
		const needed, barred = net.FlagUp | net.FlagRunning | net.FlagMulticast, net.FlagLoopback | net.FlagPointToPoint
		if i.Flags&needed != needed || i.Flags&barred != 0 {
			continue
		}
		if l := linkOf(i); len(l.own) > 0 && len(list) < maxLinks {
			list = append(list, l)
		}
	}
	return list, nil
}

// linkOf reads an interface's IPv4 addresses. One that can't be read has none:
// it went away while it was looked at.
func linkOf(i net.Interface) link {
	addrs, err := i.Addrs()
	l := link{iface: i}
	if err != nil {
		return l
	}
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.To4() == nil {
			continue
		}
		ip, _ := netip.AddrFromSlice(n.IP.To4()) // of 4 bytes
		ones, _ := n.Mask.Size()
		l.own = append(l.own, netip.PrefixFrom(ip, ones))
	}
	return l
}

// has reports whether a machine on this link can have the address.
func (l link) has(a netip.Addr) bool {
	return slices.ContainsFunc(l.own, func(p netip.Prefix) bool {
		return p.Contains(a) && !a.IsMulticast() && !a.IsUnspecified()
	})
}

// only leaves of the links the addresses at which a listener answers: all of
// them, or the one that it listens on.
func only(list []link, at netip.Addr) []link {
	if at.IsUnspecified() {
		return list
	}
	var left []link
	for _, l := range list {
		l.own = slices.DeleteFunc(slices.Clone(l.own), func(p netip.Prefix) bool { return p.Addr() != at })
		if len(l.own) > 0 {
			left = append(left, l)
		}
	}
	return left
}
