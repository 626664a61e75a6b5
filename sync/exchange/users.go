package exchange

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"oldhand/events"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// hosted is one shop on a host, with the host's own connection to it.
type hosted struct {
	shop    Tag
	benches []events.BenchID
	guests  []Guest
	key     events.BenchKey
	probe   events.BenchKey // of a login that is let do what a bench is; see Inspect
	conn    *nats.Conn
	js      jetstream.JetStream
}

// newKeys makes the logins of the host itself: its own, and one that has a bench's
// rights and is no bench's.
func (s *hosted) newKeys() (err error) {
	if s.key, err = events.NewBenchKey(); err == nil {
		s.probe, err = events.NewBenchKey()
	}
	return err
}

// account is the server's name for the shop's part of it.
func (s *hosted) account() string { return AccountName(s.shop) }

// leave ends the host's connection, if it has one.
func (s *hosted) leave() {
	if s.conn != nil {
		s.conn.Close()
		s.conn = nil
	}
}

// SetUsers says who may come in for a shop, in place of who might before. A
// key that is not named any more is cut off at once; others notice nothing. A
// shop the exchange has not seen gets a place.
func (h *Host) SetUsers(shop Tag, benches []events.BenchID, guests []Guest) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.srv.Load() == nil {
		return fmt.Errorf("set the users of shop %s: %w", shop, ErrClosed)
	}
	if err := h.setUsers(shop, benches, guests); err != nil {
		return fmt.Errorf("set the users of shop %s: %w", shop, err)
	}
	return nil
}

func (h *Host) setUsers(shop Tag, benches []events.BenchID, guests []Guest) error {
	s, known := h.shops[shop]
	if !known {
		s = &hosted{shop: shop}
		if err := s.newKeys(); err != nil {
			return err
		}
		h.shops[shop] = s
	}
	old := *s
	s.benches, s.guests = slices.Clone(benches), slices.Clone(guests)
	users, err := h.usersOf(h.srv.Load())
	if err != nil {
		if *s = old; !known {
			delete(h.shops, shop)
		}
		return err
	}
	// From here on whoever was taken out stays out, whatever fails.
	if err = h.letIn(users); err == nil && s.conn == nil {
		err = h.serve(s)
	}
	if err == nil || known {
		return err
	}
	delete(h.shops, shop)
	return errors.Join(err, h.admit())
}

// admit lets in on the running server whom the shops name. h.mu is held.
func (h *Host) admit() error {
	users, err := h.usersOf(h.srv.Load())
	if err != nil {
		return err
	}
	return h.letIn(users)
}

// letIn lets users in in place of those before, and cuts off whoever is not among them,
// also where a shop's place can't be made or changed.
func (h *Host) letIn(users map[events.BenchID]*server.User) error {
	srv := h.srv.Load()
	return errors.Join(cutOff(srv, h.admission.replace(users)), h.placeAll(srv))
}

// cutOff ends the connections of keys. Whoever comes again is a login as any other.
func cutOff(srv *server.Server, keys map[events.BenchID]bool) error {
	if len(keys) == 0 {
		return nil
	}
	list, err := srv.Connz(&server.ConnzOptions{Username: true, Limit: math.MaxInt32})
	if err != nil {
		return err
	}
	for _, c := range list.Conns {
		if login, ok := readLogin(c.AuthorizedUser); ok && keys[login] {
			_ = srv.DisconnectClientByID(c.Cid) // fails for one that has just gone by itself
		}
	}
	return nil
}

// serve connects the host itself to a shop: to make its place, to probe the
// disk and to answer guests. h.mu is held.
func (h *Host) serve(s *hosted) error {
	own, err := s.key.Public()
	if err != nil {
		return err
	}
	opts := append(connection(s.key, own), nats.InProcessServer(door{h, own}),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})) // the library's own prints
	conn, err := nats.Connect("", opts...)
	if err != nil {
		return err
	}
	if s.js, err = jetstream.New(conn); err == nil {
		ctx, cancel := context.WithTimeout(context.Background(), startTime)
		defer cancel()
		err = hostStreams(ctx, s.js, s.shop)
	}
	if err == nil {
		err = h.answerGuests(s.shop, conn)
	}
	if err != nil {
		conn.Close()
		return err
	}
	s.conn = conn
	return nil
}

// placeAll has each shop's account keep what it may.
func (h *Host) placeAll(srv *server.Server) (err error) {
	for _, s := range h.shops {
		acc, _ := srv.LookupOrRegisterAccount(s.account())
		err = errors.Join(err, s.place(acc, h.why != nil))
	}
	return err
}

// place has the shop's account keep streams. An account of its own it has so that not
// even a subject of another shop can be named from it. While the host is full the account
// may store one byte, which is answered with a reason.
func (s *hosted) place(acc *server.Account, full bool) error {
	limits := server.JetStreamAccountLimits{
		MaxStreams: len(s.shop.streams()), MaxConsumers: maxConsumers,
		// What is -1 is bounded for all accounts together.
		MaxMemory: -1, MaxStore: -1, MaxAckPending: -1, MemoryMaxStreamBytes: -1, StoreMaxStreamBytes: -1,
	}
	if full {
		limits.MaxStore = 1
	}
	anyCopies := map[string]server.JetStreamAccountLimits{"": limits}
	if acc.JetStreamEnabled() {
		return acc.UpdateJetStreamLimits(anyCopies)
	}
	return acc.EnableJetStream(anyCopies, nil)
}

// name adds the shop's users, who may listen to the own inbox only, and the host's
// own connection, which may do everything in the shop's account.
func (s *hosted) name(acc *server.Account, users map[events.BenchID]*server.User) error {
	add := func(key events.BenchID, may *server.Permissions) error {
		if users[key] != nil {
			return fmt.Errorf("key %s is named twice", key)
		}
		users[key] = &server.User{Account: acc, Permissions: may}
		return nil
	}
	only := func(key events.BenchID, publish []string) error {
		return add(key, &server.Permissions{
			Publish:   &server.SubjectPermission{Allow: publish, Deny: nobodyMay},
			Subscribe: &server.SubjectPermission{Allow: []string{inbox(key) + ".>"}},
		})
	}
	own, err := s.key.Public()
	if err != nil {
		return err
	}
	probe, err := s.probe.Public()
	if err != nil {
		return err
	}
	if err := add(own, nil); err != nil {
		return err
	}
	for _, k := range append(slices.Clone(s.benches), probe) {
		if err := only(k, benchMay(s.shop, k)); err != nil {
			return err
		}
	}
	for _, g := range s.guests {
		if err := only(events.BenchID(g), []string{s.shop.join(events.BenchID(g))}); err != nil {
			return err
		}
	}
	return nil
}

// benchMay is all that a bench needs: to publish on the shop's feeds, whoever
// wrote them, the keys of its customers and its photos, to look at the streams, to get single
// messages, and to read them in order.
func benchMay(shop Tag, key events.BenchID) []string {
	may := append([]string{shop.feeds() + "*", shop.persons() + "*", inbox(key) + ".>"}, shop.pieceSubjects()...)
	for _, s := range shop.streams() {
		may = append(may,
			"$JS.API.STREAM.INFO."+s,
			"$JS.API.STREAM.MSG.GET."+s,
			"$JS.API.CONSUMER.CREATE."+s+".>",
			"$JS.API.CONSUMER.INFO."+s+".*",
			"$JS.API.CONSUMER.MSG.NEXT."+s+".*",
			"$JS.API.CONSUMER.DELETE."+s+".*") // a reader takes its own away
	}
	return may
}

const makeStream = "$JS.API.STREAM.CREATE."

// nobodyMay is denied whatever is allowed: a slip in the list above must not
// let anybody take history away.
var nobodyMay = []string{
	makeStream + ">",
	"$JS.API.STREAM.DELETE.>",
	"$JS.API.STREAM.PURGE.>",
	"$JS.API.STREAM.MSG.DELETE.>",
	"$JS.API.STREAM.UPDATE.>",
	"$JS.API.STREAM.RESTORE.>",
	"$JS.API.STREAM.SNAPSHOT.>",
	"$JS.API.ACCOUNT.>",
	"$JS.API.SERVER.>",
	"$SYS.>",
}

func quoted(all []string) string {
	var q []string
	for _, s := range all {
		q = append(q, fmt.Sprintf("%q", s))
	}
	return strings.Join(q, ", ")
}
