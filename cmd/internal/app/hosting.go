package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/roster/invite"
)

// Hosted says where an exchange is to be found.
type Hosted struct {
	Addresses []string `json:"addresses"`
	Pin       string   `json:"pin"`
}

// Hosting is an exchange that runs beside a shop's folder. The folder is opened
// only for as long as something is exchanged, so that the bench's own commands
// find it free.
type Hosting struct {
	Hosted Hosted

	dir  string
	opt  Options
	host *exchange.Host
	x    *exchange.Exchange
	tag  exchange.Tag
	tell func(string)

	mu      sync.Mutex // over the folder, the codes and the users
	codes   invite.Invites
	benches []events.BenchID // that belong to the shop
	inside  []events.BenchID // that are let in, and
	guests  []exchange.Guest // so are these

	seen   uint64      // the exchange's last message when it was met last
	stored os.FileInfo // the witness then: it changes with every action
}

// folderWait is how long the host waits for a command that has the folder.
const folderWait = 20 * time.Second

// OpenHosting starts to host. Listen is an address and port; tell hears in words
// what happens.
func OpenHosting(ctx context.Context, dir, listen string, o Options, tell func(string)) (h *Hosting, err error) {
	o.Wait = folderWait
	h = &Hosting{dir: dir, opt: o, tell: tell}
	var key events.BenchKey
	err = h.inFolder(func(s *Shop) error {
		h.tag, key = s.tag(), s.key
		if err := s.ensureKey(); err != nil {
			return err
		}
		return h.readUsers(s)
	})
	if err != nil {
		return nil, err
	}
	h.host, err = exchange.OpenHost(exchange.HostOptions{Dir: filepath.Join(dir, exchangeDir, "store"), Listen: listen, OnJoin: h.onJoin, Warn: tell})
	if err != nil {
		return nil, err
	}
	err = h.setUsers(nil)
	if err == nil {
		h.x, err = exchange.Dial(ctx, exchange.DialOptions{Host: h.host, Key: key, Tag: h.tag, Warn: tell})
	}
	if err == nil {
		h.Hosted = Hosted{Addresses: reachable(h.host.Addr()), Pin: pinOf(h.host)}
		err = writeJSON(filepath.Join(dir, exchangeDir, hostFile), h.Hosted)
	}
	if err != nil {
		return nil, errors.Join(err, h.host.Close())
	}
	return h, nil
}

func pinOf(h *exchange.Host) string {
	p := startOf(h.Pin())
	return pinText.EncodeToString(p[:])
}

// reachable are the addresses at which a listener answers other machines.
func reachable(a net.Addr) []string {
	tcp, ok := a.(*net.TCPAddr)
	if !ok {
		return nil
	}
	at := func(ip net.IP) string { return net.JoinHostPort(ip.String(), fmt.Sprint(tcp.Port)) }
	if !tcp.IP.IsUnspecified() {
		return []string{at(tcp.IP)}
	}
	var list []string
	addrs, err := net.InterfaceAddrs()
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); err == nil && ok && n.IP.IsPrivate() && n.IP.To4() != nil {
			list = append(list, at(n.IP))
		}
	}
	if len(list) == 0 {
		list = []string{at(net.IPv4(127, 0, 0, 1))}
	}
	return list[:min(len(list), invite.MaxAddresses)]
}

// inFolder opens the folder, lets fn work and closes it.
func (h *Hosting) inFolder(fn func(*Shop) error) error {
	s, err := Open(h.dir, h.opt)
	if err != nil {
		return err
	}
	return errors.Join(fn(s), s.Close())
}

// readUsers reads who belongs to the shop.
func (h *Hosting) readUsers(s *Shop) error {
	r, err := s.Roster()
	if err != nil {
		return err
	}
	h.benches = h.benches[:0]
	for _, b := range r.Benches() {
		if !b.Retired {
			h.benches = append(h.benches, b.ID)
		}
	}
	return nil
}

// ownExchange is what a bench calls the exchange that it hosts itself.
const ownExchange = "this bench's own exchange"

// lookEvery is the pause between looks for something to exchange.
const lookEvery = 300 * time.Millisecond

// Run exchanges what comes until the context ends.
func (h *Hosting) Run(ctx context.Context) error {
	for {
		if err := h.look(ctx); err != nil && ctx.Err() == nil {
			h.tell(err.Error())
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(lookEvery):
		}
	}
}

// look lets in who has a join code, and meets the exchange where either side has
// something new.
func (h *Hosting) look(ctx context.Context) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := h.setGuests(); err != nil {
		return err
	}
	state := h.x.State(ctx)
	stored := h.witness()
	if state.LastSeq == h.seen && sameFile(stored, h.stored) && h.stored != nil {
		return nil
	}
	var m Met
	err := h.inFolder(func(s *Shop) (err error) {
		if m, err = s.Meet(ctx, h.x, ownExchange, nil); err != nil {
			return err
		}
		return h.readUsers(s)
	})
	if err != nil {
		return err
	}
	h.seen, h.stored = h.x.State(ctx).LastSeq, h.witness()
	if m.Took > 0 {
		h.tell(fmt.Sprintf("took %d events", m.Took))
	}
	return h.setUsers(h.guests)
}

// setUsers lets benches and guests in, where they are others than before: the
// server takes users over at the cost of a moment in which it does not answer.
func (h *Hosting) setUsers(guests []exchange.Guest) error {
	if slices.Equal(h.benches, h.inside) && slices.Equal(guests, h.guests) {
		return nil
	}
	if err := h.host.SetUsers(h.tag, h.benches, guests); err != nil {
		return err
	}
	h.inside, h.guests = slices.Clone(h.benches), guests
	return nil
}

// witness is the state of the file that every action writes.
func (h *Hosting) witness() os.FileInfo {
	lo, err := witnessPath(h.dir, h.opt)
	if err != nil {
		return nil
	}
	info, err := os.Stat(lo)
	if err != nil {
		return nil
	}
	return info
}

func sameFile(a, b os.FileInfo) bool {
	return a != nil && b != nil && a.ModTime().Equal(b.ModTime()) && a.Size() == b.Size()
}

// setGuests lets the holders of open join codes ask.
func (h *Hosting) setGuests() error {
	codes, err := readCodes(h.dir)
	if err != nil {
		return err
	}
	for _, c := range codes {
		h.codes = h.codes.Known(c.Guest, c.Made)
	}
	var guests []exchange.Guest
	for _, g := range h.codes.Open(h.opt.clock()()) {
		guests = append(guests, exchange.Guest(g))
	}
	return h.setUsers(guests)
}

// onJoin answers a guest: what the shop is, and then whether it may belong to it.
// A bench that may is let in before it hears so, since it comes at once. The
// guest stays until the next look: it has yet to read the answer.
func (h *Hosting) onJoin(_ exchange.Tag, g exchange.Guest, request []byte) []byte {
	h.mu.Lock()
	defer h.mu.Unlock()
	var reply []byte
	err := h.inFolder(func(s *Shop) (err error) {
		if len(request) == 0 {
			reply, err = s.founding()
			return err
		}
		if reply, err = h.admit(s, invite.Guest(g), request); err != nil {
			return err
		}
		if err = h.readUsers(s); err != nil {
			return err
		}
		// The exchange has the admission before the bench comes to read it.
		if _, err = s.Meet(context.Background(), h.x, ownExchange, nil); err != nil {
			return err
		}
		return h.setUsers(h.guests)
	})
	if err == nil {
		return reply
	}
	h.tell("a bench asked to join and was refused: " + err.Error())
	a, err := invite.Refuse(shorten(err.Error(), events.MaxWord))
	if err == nil {
		reply, err = a.Encode()
	}
	if err != nil {
		return nil
	}
	return reply
}

func shorten(s string, most int) string { return s[:min(len(s), most)] }

// founding is the shop's founding, as it travels.
func (s *Shop) founding() ([]byte, error) {
	f, err := s.foundingFact()
	if err != nil {
		return nil, err
	}
	return events.EncodeBody(f)
}

func (s *Shop) foundingFact() (f events.ShopFounded, err error) {
	err = s.view(func(v *eventlog.View) error {
		list, err := shopFacts[events.ShopFounded](v)
		for _, b := range list {
			if b.Shop() == s.Log.Shop() {
				f = b
			}
		}
		if err == nil && f.Name == "" {
			err = errors.New("the shop's founding is not here yet")
		}
		return err
	})
	return f, err
}

// admit lets a guest's bench belong to the shop.
func (h *Hosting) admit(s *Shop, g invite.Guest, request []byte) ([]byte, error) {
	founding, err := s.foundingFact()
	if err != nil {
		return nil, err
	}
	req, err := invite.DecodeRequest(request)
	if err == nil {
		err = req.Verify(founding, g)
	}
	if err != nil {
		return nil, err
	}
	codes, said := h.codes.Use(g, h.opt.clock()())
	h.codes = codes
	if said != invite.Accepted {
		return nil, errors.New(said.String())
	}
	a, err := s.admit(founding, req)
	if err != nil {
		return nil, err
	}
	h.tell(fmt.Sprintf("bench %s joined", req.Name))
	return a.Encode()
}

// admit writes a bench's admission and gives it the shop's keys.
func (s *Shop) admit(founding events.ShopFounded, req invite.Request) (a invite.Answer, err error) {
	owner, err := s.ownerKey()
	if err != nil {
		return a, fmt.Errorf("the owner's key: %w", err)
	}
	r, err := s.Roster()
	if err != nil {
		return a, err
	}
	number := uint32(1)
	for _, b := range r.Benches() {
		if b.Name == req.Name && b.ID != req.Bench {
			return a, &Wrong{"bench " + req.Name, "is the name of another bench of this shop"}
		}
		number = max(number, b.Number+1)
	}
	admitted, err := owner.Admit(s.Log.Shop(), req.Bench, req.Name, number)
	if err != nil {
		return a, err
	}
	ring, err := r.Keys(owner)
	if _, ok := ring.Sealing(); !ok {
		return a, fmt.Errorf("the shop's keys: %w", err)
	}
	sets, err := r.Share(owner, ring, req.Bench)
	if err != nil {
		return a, err
	}
	bodies := []events.Body{admitted}
	for _, set := range sets {
		bodies = append(bodies, set)
	}
	if err := s.state(bodies...); err != nil {
		return a, err
	}
	return invite.Admit(founding, ownersOf(s), admitted, sets)
}

// ownersOf are the further owners that the founder named.
func ownersOf(s *Shop) (list []events.OwnerNamed) {
	_ = s.view(func(v *eventlog.View) (err error) {
		list, err = shopFacts[events.OwnerNamed](v)
		return err
	})
	return list
}

// Close ends the hosting.
func (h *Hosting) Close() error {
	h.x.Close()
	err := os.Remove(filepath.Join(h.dir, exchangeDir, hostFile))
	return errors.Join(err, h.host.Close())
}
