package nearby

import (
	"errors"
	"fmt"
	"io"
	"log"
	"maps"
	"net"
	"net/netip"
	"slices"
	"sync"
	"time"

	"github.com/hashicorp/mdns"
)

// domain is that of multicast DNS (RFC 6762, section 3).
const domain = "local."

// noLog drops what the library says of every packet on the network that is not
// for it.
func noLog() *log.Logger { return log.New(io.Discard, "", 0) }

// ErrOnlyHere is returned when an exchange listens for this machine alone, so
// that others have nothing to find.
var ErrOnlyHere = errors.New("it listens on this machine only")

// Advert is an exchange that is shown to the networks around. Its methods may
// be called from several goroutines.
type Advert struct {
	sign Sign
	at   netip.AddrPort
	stop chan struct{}
	done chan struct{}

	mu    sync.Mutex // over what follows
	shown map[string]shown
	err   error // of the last renewal
}

// shown is one address on one network, and who answers for it.
type shown struct {
	address netip.AddrPort
	server  *mdns.Server
}

// Advertise shows an exchange that listens at an address, until Close. That no
// network is there is no error: one may come.
func Advertise(listener net.Addr, s Sign) (*Advert, error) {
	at, err := listens(listener)
	if err != nil {
		return nil, fmt.Errorf("show the exchange at %v: %w", listener, err)
	}
	a := &Advert{sign: s, at: at, stop: make(chan struct{}), done: make(chan struct{}), shown: map[string]shown{}}
	a.renew(links)
	go a.run()
	return a, nil
}

func listens(listener net.Addr) (netip.AddrPort, error) {
	tcp, ok := listener.(*net.TCPAddr)
	if !ok || tcp.Port == 0 {
		return netip.AddrPort{}, errors.New("no address of a listener")
	}
	at := tcp.AddrPort()
	if at.Addr().IsLoopback() {
		return at, ErrOnlyHere
	}
	return netip.AddrPortFrom(at.Addr().Unmap(), at.Port()), nil
}

// run follows the networks that come and go.
func (a *Advert) run() {
	defer close(a.done)
	tick := time.NewTicker(renewEvery)
	defer tick.Stop()
	for {
		select {
		case <-a.stop:
			return
		case <-tick.C:
			a.renew(links)
		}
	}
}

// renew shows the exchange where it is not shown yet, and no longer where the
// network is gone.
func (a *Advert) renew(links func() ([]link, error)) {
	a.mu.Lock()
	defer a.mu.Unlock()
	list, err := links()
	if a.err = err; err != nil {
		return
	}
	there := map[string]bool{}
	for _, l := range only(list, a.at.Addr()) {
		for _, p := range l.own {
			name := fmt.Sprintf("%d %s", l.iface.Index, p.Addr())
			there[name] = true
			if _, ok := a.shown[name]; ok {
				continue
			}
			s, err := a.show(l.iface, p.Addr())
			if err != nil {
				a.err = errors.Join(a.err, fmt.Errorf("%s: %w", l.iface.Name, err))
				continue
			}
			a.shown[name] = s
		}
	}
	for name, s := range a.shown {
		if !there[name] {
			a.err = errors.Join(a.err, s.server.Shutdown())
			delete(a.shown, name)
		}
	}
}

// show answers for one address. It has a name of its own, since the library's
// finder keeps one address a name.
func (a *Advert) show(i net.Interface, ip netip.Addr) (shown, error) {
	name := fmt.Sprintf("%s-%x", a.sign.Pin, ip.AsSlice())
	zone, err := mdns.NewMDNSService(name, Service, domain, name+"."+domain, int(a.at.Port()), []net.IP{ip.AsSlice()}, a.sign.texts())
	if err != nil {
		return shown{}, err
	}
	server, err := mdns.NewServer(&mdns.Config{Zone: zone, Iface: &i, Logger: noLog()})
	return shown{netip.AddrPortFrom(ip, a.at.Port()), server}, err
}

// Shown gives the addresses at which the exchange is shown, and why it is not
// at others.
func (a *Advert) Shown() ([]netip.AddrPort, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	var list []netip.AddrPort
	for _, s := range a.shown {
		list = append(list, s.address)
	}
	slices.SortFunc(list, netip.AddrPort.Compare)
	return slices.Compact(list), a.err
}

// Close takes the advertisement away.
func (a *Advert) Close() error {
	close(a.stop)
	<-a.done
	a.mu.Lock()
	defer a.mu.Unlock()
	var errs []error
	for _, s := range slices.Collect(maps.Values(a.shown)) {
		errs = append(errs, s.server.Shutdown())
	}
	clear(a.shown)
	return errors.Join(errs...)
}
