package app

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
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
	Code      string   `json:"code"` // says both, for benches that do not know it
}

// Hosting is an exchange that runs beside a shop's folder. The folder is opened
// only for as long as something is exchanged, so that the bench's own commands
// find it free.
type Hosting struct {
	Hosted Hosted

	host *exchange.Host
	own  *Reached
	tag  exchange.Tag

	mu sync.Mutex // over the folder, held for as long as a meeting takes; taken before door
	beside

	door    sync.Mutex // over what follows: a code is heard of while a meeting goes on
	codes   invite.Invites
	benches []events.BenchID // that belong to the shop
	retired map[events.BenchID]bool
	guesses map[events.BenchID]bool // wrong logins that were counted against the open codes
	inside  []events.BenchID        // that are let in, and
	guests  []exchange.Guest        // so are these

	answered map[exchange.Guest]time.Time // let join, with the answer on its way
}

// lingers is how long a guest stays let in after it was let join: it would be
// cut off from the answer else.
const lingers = 10 * time.Second

// OpenHosting starts to host. Listen is an address and port; note hears in words
// what happens.
func OpenHosting(ctx context.Context, dir, listen string, o Options, note func(string)) (h *Hosting, err error) {
	h = &Hosting{answered: map[exchange.Guest]time.Time{}, guesses: map[events.BenchID]bool{}}
	h.setUp(dir, o, note)
	h.opt.Wait = o.Wait // a person waits for the start
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
	h.opt.Wait = briefWait
	h.host, err = exchange.OpenHost(exchange.HostOptions{Dir: filepath.Join(dir, exchangeDir, "store"), Listen: listen, OnJoin: h.onJoin, OnRefused: h.onRefused, Warn: note})
	if err != nil {
		return nil, hostingWords(listen, err)
	}
	if err = h.serve(ctx, key); err != nil {
		return nil, errors.Join(err, h.Close())
	}
	return h, nil
}

// hostingWords says what to do where an exchange can't be opened.
func hostingWords(listen string, err error) error {
	if errors.Is(err, exchange.ErrInUse) {
		return &Wrong{"hosting", "another oldhand hosts from this folder already"}
	}
	l, no := net.Listen("tcp", listen) // the server says only in words why it can't
	if no == nil {
		return errors.Join(fmt.Errorf("host: %w", err), l.Close())
	}
	if errors.Is(no, syscall.EADDRINUSE) {
		return &Wrong{"--listen " + listen, "another program uses this port; name another, such as --listen 0.0.0.0:4748"}
	}
	return &Wrong{"--listen " + listen, no.Error()}
}

// serve lets the benches in and says where.
func (h *Hosting) serve(ctx context.Context, key events.BenchKey) error {
	if err := h.letIn(); err != nil {
		return err
	}
	again := func(ctx context.Context) (*exchange.Exchange, error) {
		return exchange.Dial(ctx, exchange.DialOptions{Host: h.host, Key: key, Tag: h.tag, Warn: h.note})
	}
	x, err := again(ctx)
	if err != nil {
		return err
	}
	h.own = &Reached{With: "this bench", x: x, again: again}
	place := invite.Place{Pin: startOf(h.host.Pin()), Addresses: reachable(h.host.Addr(), net.InterfaceAddrs)}
	code, err := place.Text()
	if err != nil {
		return err
	}
	h.Hosted = Hosted{place.Addresses, pinText.EncodeToString(place.Pin[:]), code}
	return writeJSON(filepath.Join(h.dir, exchangeDir, hostFile), h.Hosted)
}

// readUsers reads who belongs to the shop, by what is in the log and what this
// bench was told when it joined: its own admission may not have come yet.
func (h *Hosting) readUsers(s *Shop) error {
	in, err := s.looking()
	if err != nil {
		return err
	}
	h.door.Lock()
	defer h.door.Unlock()
	h.benches, h.retired = h.benches[:0], map[events.BenchID]bool{}
	for _, b := range in.Roster().Benches() {
		if b.Retired {
			h.retired[b.ID] = true
			continue
		}
		h.benches = append(h.benches, b.ID)
	}
	return nil
}

// Run exchanges what comes until the context ends.
func (h *Hosting) Run(ctx context.Context) error {
	var hearing sync.WaitGroup
	hearing.Go(func() { h.hearOn(ctx) })
	defer hearing.Wait()
	for ctx.Err() == nil {
		m, err := h.look(ctx)
		if ctx.Err() != nil {
			break
		}
		if m.Took > 0 {
			h.note("took " + eventCount(m.Took))
		}
		if m.Names > 0 {
			h.note(fmt.Sprintf("took the keys of %d customers' names", m.Names))
		}
		h.pause(ctx, m, err)
	}
	return nil
}

// hearOn lets in who has a join code while a meeting goes on: the first one with much
// to exchange can take longer than a joiner tries, who would be told that a code that
// was made this moment is used or too old. What goes wrong the next look tells.
func (h *Hosting) hearOn(ctx context.Context) {
	for ctx.Err() == nil {
		pauseFor(ctx, lookEvery)
		_ = h.hear()
	}
}

// hear lets the holders of open join codes ask.
func (h *Hosting) hear() error {
	h.door.Lock()
	defer h.door.Unlock()
	return h.setGuests()
}

// letIn lets in who belongs to the shop, beside the guests.
func (h *Hosting) letIn() error {
	h.door.Lock()
	defer h.door.Unlock()
	return h.setUsers(h.guests)
}

// look lets in who has a join code, and meets the exchange where either side has
// something new.
func (h *Hosting) look(ctx context.Context) (Met, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := h.hear(); err != nil {
		return Met{}, err
	}
	m, err := h.meet(ctx, h.own, h.readUsers)
	if err != nil {
		return m, err
	}
	return m, h.letIn()
}

// setUsers lets benches and guests in, where they are others than before. The door is
// held.
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

// setGuests lets the holders of open join codes ask. The door is held.
func (h *Hosting) setGuests() error {
	if err := h.hearCodes(); err != nil {
		return err
	}
	var guests []exchange.Guest
	for _, g := range h.codes.Open(h.opt.clock()()) {
		guests = append(guests, exchange.Guest(g))
	}
	for g, at := range h.answered {
		if time.Since(at) > lingers {
			delete(h.answered, g)
			continue
		}
		guests = append(guests, g)
	}
	slices.SortFunc(guests, func(a, b exchange.Guest) int { return bytes.Compare(a[:], b[:]) })
	return h.setUsers(guests)
}

// onJoin answers a guest: what the shop is, and then whether it may belong to it.
// A bench that may is let in before it hears so, since it comes at once.
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
		if _, err = s.Meet(context.Background(), h.own, brief, nil); err != nil {
			return err
		}
		return h.letIn()
	})
	if err == nil {
		select {
		case h.wake <- struct{}{}: // the bench that joined waits for its admission
		default:
		}
		return reply
	}
	h.note("a machine asked to join and was refused: " + err.Error())
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
	number, belongs, err := s.numberFor(req) // before the code is used up
	if err != nil {
		return nil, err
	}
	if err := h.use(g, belongs); err != nil {
		return nil, err
	}
	a, err := s.admit(founding, req, number)
	if err != nil {
		return nil, err
	}
	h.note(fmt.Sprintf("bench %s joined", req.Name))
	return a.Encode()
}

// use uses a code up, unless its guest belongs already and did not hear the answer.
func (h *Hosting) use(g invite.Guest, belongs bool) error {
	h.door.Lock()
	defer h.door.Unlock()
	if _, asked := h.answered[exchange.Guest(g)]; !asked || !belongs {
		codes, said := h.codes.Use(g, h.opt.clock()())
		h.codes = codes
		if said != invite.Accepted {
			return errors.New(said.String())
		}
		if err := dropCode(h.dir, g); err != nil {
			return err
		}
	}
	h.answered[exchange.Guest(g)] = time.Now()
	return nil
}

// numberFor is the number of the tags of a bench that wants to belong: the next
// one, or the one it has, if it belongs and asks again because it did not hear
// the answer.
func (s *Shop) numberFor(req invite.Request) (number uint32, belongs bool, err error) {
	r, err := s.Roster()
	if err != nil {
		return 0, false, err
	}
	number = 1
	for _, b := range r.Benches() {
		switch {
		case b.ID == req.Bench && b.Name == req.Name:
			return b.Number, true, nil
		case b.ID == req.Bench:
			return 0, false, &Wrong{"that machine", "belongs to the shop already, as bench " + b.Name + "; join under that name"}
		case b.Name == req.Name && !b.Retired:
			return 0, false, &Wrong{"bench " + req.Name, "is the name of another bench of this shop; choose another name, the code is still good"}
		}
		number = max(number, b.Number+1)
	}
	return number, false, nil
}

// admit writes a bench's admission and gives it the shop's keys.
func (s *Shop) admit(founding events.ShopFounded, req invite.Request, number uint32) (a invite.Answer, err error) {
	owner, err := s.ownerKey()
	if err != nil {
		return a, fmt.Errorf("the owner's key: %w", err)
	}
	r, err := s.Roster()
	if err != nil {
		return a, err
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
	h.courier.stop()
	if h.own != nil {
		h.own.Close()
	}
	err := os.Remove(filepath.Join(h.dir, exchangeDir, hostFile))
	if errors.Is(err, fs.ErrNotExist) {
		err = nil // it was not said yet, or the person took the folder away
	}
	return errors.Join(err, h.host.Close())
}
