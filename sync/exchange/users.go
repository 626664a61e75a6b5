package exchange

import (
	"context"
	"fmt"
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
		key, err := events.NewBenchKey()
		if err != nil {
			return err
		}
		s = &hosted{shop: shop, key: key}
		if err := s.newProbe(); err != nil {
			return err
		}
		h.shops[shop] = s
	}
	old := *s
	s.benches, s.guests = slices.Clone(benches), slices.Clone(guests)
	err := h.reload()
	if err == nil && s.conn == nil {
		err = h.serve(s)
	}
	if err == nil {
		return nil
	}
	if *s = old; !known {
		delete(h.shops, shop)
	}
	return err
}

// reload has the running server take the users over. h.mu is held.
func (h *Host) reload() error {
	opt, users, err := h.withUsers()
	if err != nil {
		return err
	}
	if err := h.srv.Load().ReloadOptions(opt); err != nil {
		return err
	}
	h.users.Store(&users)
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

// withUsers is the server's settings with all users. They are written as the
// server's own language and read by its own reader, which is also how it
// takes them anew later; every name in it is made of letters and digits here.
// There is always one user, since a server without any lets everybody in.
func (h *Host) withUsers() (*server.Options, map[events.BenchID]bool, error) {
	own, err := h.key.Public()
	if err != nil {
		return nil, nil, err
	}
	users := map[events.BenchID]bool{}
	var b strings.Builder
	fmt.Fprintf(&b, "accounts {\n  HOST { users: [ { nkey: %s } ] }\n", own.LoginName())
	for _, s := range h.sorted() {
		if err := s.write(&b, h.why != nil, users); err != nil {
			return nil, nil, err
		}
	}
	b.WriteString("}\n")
	opt := h.base()
	if err := opt.ProcessConfigString(b.String()); err != nil {
		return nil, nil, err
	}
	return opt, users, nil
}

func (h *Host) sorted() (all []*hosted) {
	for _, s := range h.shops {
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b *hosted) int { return strings.Compare(a.shop.String(), b.shop.String()) })
	return all
}

// write gives the shop an account of its own, so that not even a subject of
// another shop can be named from it. While the host is full the account may
// store one byte, which is answered with a reason.
func (s *hosted) write(b *strings.Builder, full bool, users map[events.BenchID]bool) error {
	room := ""
	if full {
		room = " max_file: 1,"
	}
	own, err := s.key.Public()
	if err != nil {
		return err
	}
	users[own] = true
	fmt.Fprintf(b, "  %s {\n    jetstream {%s max_streams: 3, max_consumers: %d }\n    users: [\n      { nkey: %s }\n", s.account(), room, maxConsumers, own.LoginName())
	add := func(key events.BenchID, publish, deny []string) error {
		if users[key] {
			return fmt.Errorf("key %s is named twice", key)
		}
		users[key] = true
		b.WriteString(user(key, publish, deny))
		return nil
	}
	probe, err := s.probe.Public()
	if err != nil {
		return err
	}
	for _, k := range append(slices.Clone(s.benches), probe) {
		if err := add(k, benchMay(s.shop, k), nobodyMay); err != nil {
			return err
		}
	}
	for _, g := range s.guests {
		if err := add(events.BenchID(g), []string{s.shop.join(events.BenchID(g))}, nobodyMay); err != nil {
			return err
		}
	}
	b.WriteString("    ]\n  }\n")
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
