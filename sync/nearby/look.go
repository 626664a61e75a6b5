package nearby

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"

	"github.com/hashicorp/mdns"
)

// Want says which exchanges are looked for.
type Want struct {
	Tag  Tag   // of the shop; zero where it is not known yet
	Pins []Pin // any of these
}

// Found is where somebody says that an exchange is.
type Found struct {
	Address netip.AddrPort
	Pin     Pin
}

// ErrNoNetwork is returned when this machine stands in no local network.
var ErrNoNetwork = errors.New("this machine is in no local network")

// Look asks the networks around for exchanges and gives those that are wanted,
// each once, at most MaxFound. That nobody answers is no error.
func Look(ctx context.Context, w Want) ([]Found, error) {
	list, err := links()
	if err == nil && len(list) == 0 {
		err = ErrNoNetwork
	}
	if err != nil {
		return nil, fmt.Errorf("look around: %w", err)
	}
	return lookOn(ctx, list, w)
}

// lookOn asks all links at once. It fails where none could be asked.
func lookOn(ctx context.Context, list []link, w Want) ([]Found, error) {
	type end struct {
		found []Found
		err   error
	}
	ends := make(chan end, len(list))
	for _, l := range list {
		go func() {
			answers, err := ask(ctx, l)
			ends <- end{l.wanted(answers, w), err}
		}()
	}
	var found []Found
	var errs []error
	for range list {
		select {
		case e := <-ends:
			found = append(found, e.found...)
			if e.err != nil {
				errs = append(errs, e.err)
			}
		case <-ctx.Done(): // the library goes on till its time is up, with nobody listening
			return nil, ctx.Err()
		}
	}
	if len(errs) == len(list) {
		return nil, fmt.Errorf("look around: %w", errors.Join(errs...))
	}
	return few(found), nil
}

// ask gives what was answered on a link. The library writes into its answers
// until it returns, so they wait in the channel until then; what does not fit
// there it drops.
func ask(ctx context.Context, l link) ([]*mdns.ServiceEntry, error) {
	answers := make(chan *mdns.ServiceEntry, MaxAnswers)
	err := mdns.QueryContext(ctx, &mdns.QueryParam{
		Service: Service, Domain: domain, Timeout: lookFor, Interface: &l.iface,
		Entries: answers, Logger: noLog(),
		DisableIPv4: !l.speaks4(), DisableIPv6: l.speaks4(), // either carries the addresses of both
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.iface.Name, err)
	}
	close(answers)
	var list []*mdns.ServiceEntry
	for e := range answers {
		list = append(list, e)
	}
	return list, nil
}

// wanted leaves what a look is for.
func (l link) wanted(answers []*mdns.ServiceEntry, w Want) (list []Found) {
	for _, e := range answers[:min(len(answers), MaxAnswers)] {
		if f, ok := l.judge(e, w); ok {
			list = append(list, f)
		}
	}
	return list
}

// judge reads one answer, which may say anything.
func (l link) judge(e *mdns.ServiceEntry, w Want) (f Found, ok bool) {
	if !strings.HasSuffix(strings.ToLower(e.Name), "."+Service+"."+domain) {
		return f, false // the library also hands over what nobody asked for
	}
	ip, ok := l.addressOf(e)
	if !ok || e.Port < 1 || e.Port > 65535 {
		return f, false
	}
	s, err := readSign(e.InfoFields)
	if err != nil || !w.fits(s) {
		return f, false
	}
	return Found{netip.AddrPortFrom(ip, uint16(e.Port)), s.Pin}, true
}

// addressOf is where an answer says that the exchange is, if that can be on the
// link. One that is good on a wire alone is told with which.
func (l link) addressOf(e *mdns.ServiceEntry) (netip.Addr, bool) {
	if ip, ok := netip.AddrFromSlice(e.AddrV4.To4()); ok {
		return ip, l.has(ip)
	}
	if e.AddrV6IPAddr == nil {
		return netip.Addr{}, false
	}
	ip, ok := netip.AddrFromSlice(e.AddrV6IPAddr.IP)
	if !ok || !ip.Is6() || ip.Is4In6() || !l.has(ip) {
		return netip.Addr{}, false
	}
	if ip.IsLinkLocalUnicast() {
		ip = ip.WithZone(l.iface.Name)
	}
	return ip, true
}

func (w Want) fits(s Sign) bool {
	return (w.Tag == Tag{} || w.Tag == s.Tag) && slices.Contains(w.Pins, s.Pin)
}

// few leaves each once, those that came first, and not too many.
func few(list []Found) (left []Found) {
	for _, f := range list {
		if len(left) < MaxFound && !slices.Contains(left, f) {
			left = append(left, f)
		}
	}
	return left
}
