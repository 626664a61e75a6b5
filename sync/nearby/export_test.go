package nearby

import (
	"context"
	"net"
	"net/netip"
	"slices"

	"github.com/hashicorp/mdns"
)

// Link is one network, made up or of this machine.
type Link = link

// LinkAt is a made-up network with this machine's own address in it.
func LinkAt(name string, index int, own ...string) Link {
	l := link{iface: net.Interface{Name: name, Index: index}}
	for _, p := range own {
		l.own = append(l.own, netip.MustParsePrefix(p))
	}
	return l
}

// LinkOf is a network of this machine.
func LinkOf(i net.Interface) Link { return linkOf(i) }

// Own are this machine's addresses on a network.
func (l link) Own() []netip.Prefix { return l.own }

// Six is the IPv6 address that is shown there.
func (l link) Six() netip.Addr { return l.six() }

// WithoutIPv4 is the network as a machine sees it that has no IPv4.
func (l link) WithoutIPv4() Link {
	l.own = slices.DeleteFunc(slices.Clone(l.own), func(p netip.Prefix) bool { return p.Addr().Is4() })
	return l
}

// Interface is what leads to a network.
func (l link) Interface() net.Interface { return l.iface }

// Links are the networks of this machine.
func Links() ([]Link, error) { return links() }

// Only is only.
func Only(list []Link, at netip.Addr) []Link { return only(list, at) }

// Has is has.
func (l link) Has(a netip.Addr) bool { return l.has(a) }

// Wanted is what a look on a network makes of answers.
func (l link) Wanted(answers []*mdns.ServiceEntry, w Want) []Found { return few(l.wanted(answers, w)) }

// LookOn looks on given networks.
func LookOn(ctx context.Context, list []Link, w Want) ([]Found, error) { return lookOn(ctx, list, w) }

// AdvertiseOn shows an exchange on the networks that links gives at the time.
func AdvertiseOn(s Sign, at netip.AddrPort, links func() ([]Link, error)) *Advert {
	a := &Advert{sign: s, at: at, stop: make(chan struct{}), done: make(chan struct{}), shown: map[string]shown{}}
	a.renew(links)
	close(a.done)
	return a
}

// Renew looks at the networks anew.
func (a *Advert) Renew(links func() ([]Link, error)) { a.renew(links) }

// Texts is texts.
func (s Sign) Texts() []string { return s.texts() }

// ReadSign is readSign.
func ReadSign(texts []string) (Sign, error) { return readSign(texts) }

// ErrNotSign is errNotSign.
var ErrNotSign = errNotSign
