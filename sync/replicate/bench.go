package replicate

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/sync/segment"
)

// Message is one message of an exchange.
type Message struct {
	Epoch   string
	Number  uint64
	Feed    events.FeedID // by its subject
	Payload []byte        // nil for what is no segment
}

// Exchange is what is asked of an exchange. The failure is zero where there is
// none.
type Exchange interface {
	// Publish stores a payload behind a feed's message, zero for none, and gives
	// the number it got.
	Publish(feed events.FeedID, expect uint64, payload []byte) (uint64, Failure)
	// Last reads a feed's last message; its number is zero where there is none.
	Last(feed events.FeedID) (Message, Failure)
}

// Bench is one bench's side of meeting an exchange: its inbox, its core, and
// what the core wants done. Whoever runs it tells it what happens, with the time
// in milliseconds on a clock that nobody sets, and lets it do one thing after the other. It is for one
// goroutine.
type Bench struct {
	Inbox *Inbox
	core  *Core
	log   Log
	shop  events.ShopID
	rand  io.Reader

	todo  []Effect
	wake  int64
	epoch string
	level uint64 // the last message there was when the exchange was met
	holes uint64
}

// NewBench makes the bench of a log. Random is a source of secrets; told is as
// for NewInbox.
func NewBench(log Log, shop events.ShopID, own events.BenchKey, random io.Reader, told ...events.Body) (*Bench, error) {
	id, err := own.Public()
	if err != nil {
		return nil, err
	}
	in, err := NewInbox(log, shop, own, told...)
	if err != nil {
		return nil, err
	}
	b := &Bench{Inbox: in, core: NewCore(id), log: log, shop: shop, rand: random}
	if _, err := in.Again(Came{Roster: true}); err != nil { // a newer program may read more
		return nil, err
	}
	return b, b.step(Grew{log.Heads()}, 0)
}

// step hands the core an input.
func (b *Bench) step(in Input, now int64) error {
	var random [8]byte
	if _, err := io.ReadFull(b.rand, random[:]); err != nil {
		return fmt.Errorf("draw a number: %w", err)
	}
	for _, e := range b.core.Step(in, now, binary.BigEndian.Uint64(random[:])) {
		if w, ok := e.(Wake); ok {
			b.wake = w.At
			continue
		}
		b.todo = append(b.todo, e)
	}
	return nil
}

// State is what an exchange says of itself.
type State struct {
	Epoch string // a random name: another one is another exchange
	Last  uint64 // the number of its last message
	Holes uint64 // messages before that which it does not have
}

// Meet begins with an exchange, or goes on with it after a cut. It gives the
// cursor to read on from. An exchange that lost messages since it was read is
// read again from the first, so that what it lost is given to it again (F21).
func (b *Bench) Meet(x State, now int64) (Cursor, error) {
	at, spots, err := b.remembered(x.Epoch)
	if err != nil {
		return at, err
	}
	if b.Inbox.Reread || at.Message > 0 && at.Holes != x.Holes {
		at, spots = Cursor{Epoch: x.Epoch}, nil
		b.core.forget()
	}
	b.Inbox.Reread = false
	b.epoch, b.level, b.holes, b.todo = x.Epoch, x.Last, x.Holes, nil
	if err := b.step(Met{Epoch: x.Epoch, Read: at.Message, Spots: spots}, now); err != nil {
		return at, err
	}
	return at, b.checkLevel(b.core.read, now)
}

// remembered are the marks of an epoch.
func (b *Bench) remembered(epoch string) (at Cursor, spots map[events.FeedID]Spot, err error) {
	at, spots = Cursor{Epoch: epoch}, map[events.FeedID]Spot{}
	err = b.log.Marks(append([]byte{'c'}, epoch...), func(k, v []byte) (err error) {
		if string(k[1:]) == epoch {
			at, err = readCursor(k, v)
		}
		return err
	})
	if err != nil {
		return at, nil, err
	}
	return at, spots, b.log.Marks(spotPrefix(epoch), func(k, v []byte) error {
		f, s, err := readSpot(k, v)
		spots[f] = s
		return err
	})
}

// Last says which message is the exchange's last, after it turned out to have
// been put back: what passes up to it makes the bench level.
func (b *Bench) Last(last uint64) { b.level = last }

// checkLevel tells the core once all has passed that was there when it met.
func (b *Bench) checkLevel(passed uint64, now int64) error {
	if b.core.level || passed < b.level {
		return nil
	}
	return b.step(Level{}, now)
}

// Message deals with a message of the exchange. An error is this bench's own:
// the message must come again.
func (b *Bench) Message(m Message, now int64) (Came, error) {
	cursor := Cursor{m.Epoch, m.Number, sha256.Sum256(m.Payload), b.holes}
	passed := Passed{Epoch: m.Epoch, Message: m.Number, Feed: m.Feed}
	if m.Payload == nil {
		return Came{}, errors.Join(b.step(passed, now), b.checkLevel(m.Number, now))
	}
	came, err := b.Inbox.Take(m.Payload, m.Number, func(c Came) []Mark {
		if c.Head.Feed == m.Feed && c.Aside != WhyFork {
			passed.First, passed.Head = c.Place.First, c.Head
		}
		passed.Forked = c.Aside == WhyFork
		return []Mark{cursor.mark(), b.core.spotAfter(passed).mark(m.Epoch, m.Feed)}
	})
	if err != nil {
		return came, err
	}
	if err := b.step(passed, now); err != nil {
		return came, err
	}
	return came, errors.Join(b.after(came, now), b.checkLevel(m.Number, now))
}

// after lets the core know what grew, and tries what waited for it.
func (b *Bench) after(came Came, now int64) error {
	if came.Took == 0 {
		return nil
	}
	grew := Grew{[]events.Head{came.Head}}
	again, err := b.Inbox.Again(came)
	for _, c := range again {
		grew.Heads = append(grew.Heads, c.Head)
	}
	return errors.Join(err, b.step(grew, now))
}

// Bundle deals with a segment that came another way than by the exchange.
func (b *Bench) Bundle(payload []byte, now int64) (Came, error) {
	came, err := b.Inbox.Take(payload, 0, nil)
	if err != nil {
		return came, err
	}
	return came, b.after(came, now)
}

// Grew looks what was added to the log by other means.
func (b *Bench) Grew(now int64) error {
	roster := b.Inbox.book
	moved, err := b.Inbox.Refresh()
	if err != nil || len(moved) == 0 {
		return err
	}
	if b.Inbox.book != roster {
		again, err := b.Inbox.Again(Came{Roster: true})
		if err != nil {
			return err
		}
		for _, c := range again {
			moved = append(moved, c.Head)
		}
	}
	return b.step(Grew{moved}, now)
}

// Parted is that the exchange no longer answers.
func (b *Bench) Parted(now int64) error {
	b.todo = nil
	return b.step(Parted{}, now)
}

// WakeAt is when Tick is due; zero for never.
func (b *Bench) WakeAt() int64 { return b.wake }

// Tick lets the core go on after a pause.
func (b *Bench) Tick(now int64) error {
	b.wake = 0
	return b.step(Tick{}, now)
}

// Busy reports whether there is something to do.
func (b *Bench) Busy() bool { return len(b.todo) > 0 }

// Do does the next thing that is to be done.
func (b *Bench) Do(x Exchange, now func() int64) error {
	if len(b.todo) == 0 {
		return nil
	}
	e := b.todo[0]
	b.todo = b.todo[1:]
	switch e := e.(type) {
	case Post:
		in, err := b.post(x, e)
		if err != nil {
			return err
		}
		return b.step(in, now())
	case Ask:
		return b.step(b.find(x, e.Feed), now())
	}
	return nil
}

// post seals the next run of a feed and publishes it.
func (b *Bench) post(x Exchange, p Post) (Input, error) {
	hash, ok, err := b.log.HashAt(p.Feed, p.After)
	if err != nil {
		return nil, err
	}
	if !ok || hash != p.Prev {
		return Failed{p.Feed, Forked}, nil
	}
	payload, end, err := b.Seal(p.Feed, p.After)
	switch {
	case errors.Is(err, segment.ErrTooLarge):
		return Failed{p.Feed, TooLarge}, nil
	case errors.Is(err, ErrUnproven):
		return Failed{p.Feed, Unproven}, nil
	case err != nil:
		return nil, err
	}
	number, failure := x.Publish(p.Feed, p.Expect, payload)
	if failure != 0 {
		return Failed{p.Feed, failure}, nil
	}
	return Posted{p.Feed, number, p.After + 1, end.Head}, nil
}

// ErrUnproven is returned when nothing behind a number can be given, because no
// signed head covers it or no key seals it.
var ErrUnproven = errors.New("nothing that can be proven to others")

// Seal makes the segment of a feed's next run behind a number.
func (b *Bench) Seal(f events.FeedID, after uint64) ([]byte, events.SignedHead, error) {
	key, ok := b.Inbox.sealing(f, after)
	if !ok {
		return nil, events.SignedHead{}, fmt.Errorf("seal feed %s behind %d: no key of the shop: %w", f.Short(), after, ErrUnproven)
	}
	evs, end, err := b.log.Run(f, after)
	if err == nil && len(evs) == 0 {
		err = ErrUnproven
	}
	if err != nil {
		return nil, end, fmt.Errorf("take feed %s behind %d: %w", f.Short(), after, err)
	}
	payload, err := segment.Seal(b.shop, key.Epoch, segment.Key(key.Secret), evs, end, b.rand)
	return payload, end, err
}

// find asks for a feed's last message.
func (b *Bench) find(x Exchange, f events.FeedID) Input {
	m, failure := x.Last(f)
	if failure != 0 {
		return Failed{f, failure}
	}
	found := Found{Feed: f, Message: m.Number}
	if m.Number == 0 {
		return found
	}
	if o, err := b.Inbox.open(m.Payload); err == nil && o.Feed == f {
		found.First, found.Head = o.First, o.Head.Head
	}
	return found
}

// Standing is how a bench stands to an exchange.
type Standing struct {
	Level   bool          // all that is there is here, and all that is here is there
	Missing []events.Head // what is known to go further than what is here
	Owing   []events.Head // what is here and not there
	Stuck   map[events.FeedID]string
}

// Standing compares heads; no cursor is believed (P9).
func (b *Bench) Standing() Standing {
	s := Standing{Level: b.core.IsLevel(), Owing: b.core.Owing(), Stuck: b.core.Stuck()}
	for _, h := range b.core.Missing() {
		if b.Inbox.wanted(h) {
			s.Missing = append(s.Missing, h)
		}
	}
	for _, h := range b.Inbox.Missing() {
		s.Missing = append(s.Missing, h.Head)
	}
	s.Level = s.Level && len(s.Missing) == 0 && len(s.Stuck) == 0
	return s
}

// Resting reports whether the bench has met its exchange and nothing is left to
// read, to give or to wait for, as far as it knows.
func (b *Bench) Resting() bool {
	return b.core.met && b.core.level && len(b.todo) == 0 && len(b.core.flight) == 0 && b.wake == 0
}
