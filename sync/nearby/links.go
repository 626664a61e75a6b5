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

// linkOf reads an interface's addresses: of IPv4 all, of IPv6 those that stay in
// the house (RFC 4193) or on the wire (RFC 4291, section 2.5.6). One that can't be
// read has none: it went away while it was looked at.
func linkOf(i net.Interface) link {
	addrs, err := i.Addrs()
	l := link{iface: i}
	if err != nil {
		return l
	}
	var six []netip.Prefix
	for _, a := range addrs {
		n, ok := a.(*net.IPNet)
		if !ok {
			continue
		}
		ip, ok := netip.AddrFromSlice(n.IP)
		ip = ip.Unmap()
		ones, _ := n.Mask.Size()
		switch p := netip.PrefixFrom(ip, ones); {
		case ok && ip.Is4():
			l.own = append(l.own, p)
		case ok && (ip.IsPrivate() || ip.IsLinkLocalUnicast()):
			six = append(six, p)
		}
	}
	l.own = append(l.own, six...)
	return l
}

// speaks4 reports whether the machine has an IPv4 address there.
func (l link) speaks4() bool {
	return slices.ContainsFunc(l.own, func(p netip.Prefix) bool { return p.Addr().Is4() })
}

// has reports whether a machine on this link can have the address.
func (l link) has(a netip.Addr) bool {
	return slices.ContainsFunc(l.own, func(p netip.Prefix) bool {
		return p.Contains(a) && !a.IsMulticast() && !a.IsUnspecified()
	})
}

// only leaves of the links the addresses at which a listener answers: the one
// that it listens on, or all. Of IPv6 one is enough, since a machine may have
// many that lead to it over the same wire; one that is good in the whole house
// before one that is good on the wire alone.
func only(list []link, at netip.Addr) (left []link) {
	for _, l := range list {
		six := l.six()
		l.own = slices.DeleteFunc(slices.Clone(l.own), func(p netip.Prefix) bool {
			a := p.Addr()
			switch {
			case at == netip.IPv4Unspecified():
				return !a.Is4()
			case at == netip.IPv6Unspecified():
				return !a.Is4() && a != six
			}
			return a != at.WithZone("") || at.Zone() != "" && at.Zone() != l.iface.Name
		})
		if len(l.own) > 0 {
			left = append(left, l)
		}
	}
	return left
}

// six is the IPv6 address to show; the zero one where there is none.
func (l link) six() (best netip.Addr) {
	for _, p := range l.own {
		a := p.Addr()
		if a.Is6() && (!best.IsValid() || best.IsLinkLocalUnicast() && !a.IsLinkLocalUnicast()) {
			best = a
		}
	}
	return best
}
