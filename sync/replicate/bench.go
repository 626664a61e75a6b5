package replicate

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/segment"
)

// Message is one message of an exchange.
type Message struct {
	Epoch   string
	Number  uint64
	Feed    events.FeedID // by its subject
	Payload []byte        // nil for what is no segment
	Ahead   *Opening      // of the payload, where it was begun
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
	held  *holding // which log is
	shop  events.ShopID
	rand  io.Reader

	mark  uint64 // the core knows how far the log went then
	todo  []Effect
	wake  int64
	epoch string
	level uint64 // the last message there was when the exchange was met
	holes uint64
	known string // the exchange of which Surveyed told since the last meeting
}

// NewBench makes the bench of a log. Random is a source of secrets; told is as
// for NewInbox.
func NewBench(log Log, shop events.ShopID, own events.BenchKey, random io.Reader, told ...events.Body) (*Bench, error) {
	id, err := own.Public()
	if err != nil {
		return nil, err
	}
	held := &holding{Log: log, tips: map[events.FeedID]events.Head{}}
	log = held
	in, err := NewInbox(log, shop, own, told...)
	if err != nil {
		return nil, err
	}
	b := &Bench{Inbox: in, core: NewCore(id), log: log, held: held, shop: shop, rand: random}
	if _, err := in.Again(Came{Roster: true}); err != nil { // a newer program may read more
		return nil, err
	}
	var grew Grew
	grew.Branches, b.mark = log.Moved(0)
	return b, b.step(grew, 0)
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
	Last  uint64 // the number of its last message, of those that it still has
	Holes uint64 // messages before that which it does not have
	Lost  bool   // it does not have the message that the cursor names, or another in its place (Bench.Cursor)
}

// Cursor is how far an exchange was read: for whoever asks it, before meeting
// it, whether it still has that message.
func (b *Bench) Cursor(epoch string) (Cursor, error) {
	at, _, err := b.remembered(epoch)
	return at, err
}

// Meet begins with an exchange, or goes on with it after a cut. It gives the
// cursor to read on from. An exchange that lost messages since it was read, or
// was put back, is read again from the first, so that what it lost is given to
// it again (F20, F21).
func (b *Bench) Meet(x State, now int64) (Cursor, error) {
	at, spots, err := b.remembered(x.Epoch)
	if err != nil {
		return at, err
	}
	if b.Inbox.Reread || x.Lost && !planted.Bug("a cursor without its epoch") || at.Message > x.Last || at.Message > 0 && at.Holes != x.Holes {
		if err := b.anew(x.Epoch); err != nil {
			return at, err
		}
		at, spots = Cursor{Epoch: x.Epoch}, nil
	}
	if at.Message == 0 && b.known != x.Epoch {
		if err := b.log.Receive(nil, nil, []Mark{notSurveyed(x.Epoch)}); err != nil {
			return at, err
		}
	}
	b.known = ""
	b.epoch, b.level, b.holes, b.todo, b.wake = x.Epoch, x.Last, x.Holes, nil, 0
	if err := b.step(Met{Epoch: x.Epoch, Read: at.Message, Spots: spots}, now); err != nil {
		return at, err
	}
	return at, b.checkLevel(at.Message, now)
}

// anew forgets what is remembered of an epoch, so that a crash while it is read
// again leaves nothing of what is not so any more.
func (b *Bench) anew(epoch string) error {
	gone, err := b.marksOf(epoch)
	if err != nil {
		return err
	}
	if len(gone) > 0 {
		err = b.log.Receive(nil, nil, gone)
	}
	return errors.Join(err, b.Inbox.setReread(false))
}

// marksOf take away all marks of an epoch.
func (b *Bench) marksOf(epoch string) (gone []Mark, err error) {
	_, spots, err := b.remembered(epoch)
	for on, s := range spots {
		gone = append(gone, Mark{spotOn{on, s}.mark(epoch).Key, nil})
	}
	return append(gone, Mark{Cursor{Epoch: epoch}.mark().Key, nil}), err
}

// remembered are the marks of an epoch.
func (b *Bench) remembered(epoch string) (at Cursor, spots map[eventlog.Branch]Spot, err error) {
	at, spots = Cursor{Epoch: epoch}, map[eventlog.Branch]Spot{}
	err = b.log.Marks(cursorPrefix(epoch), func(k, v []byte) (err error) {
		if string(k[1:]) == epoch || planted.Bug("a cursor without its epoch") {
			at, err = readCursor(k, v)
		}
		return err
	})
	if err != nil {
		return at, nil, err
	}
	read := func(k, v []byte) error {
		s, err := readSpot(k, v)
		spots[s.Branch] = s.Spot
		return err
	}
	return at, spots, errors.Join(b.log.Marks(spotPrefix(epoch), read), b.log.Marks(forkPrefix(epoch), read))
}

// Last says which message is the exchange's last, where it turned out to be
// another than when it was met: because it was put back, or because those behind
// it can't be read any more. What passes up to it makes the bench level, at the
// next Tick where it has passed.
func (b *Bench) Last(last uint64) {
	b.level = last
	if !b.core.level && b.core.read >= last {
		b.wake = 1
	}
}

// checkLevel tells the core once all has passed that was there when it met.
func (b *Bench) checkLevel(passed uint64, now int64) error {
	if !b.core.met || b.core.level || passed < b.level {
		return nil
	}
	return b.step(Level{}, now)
}

// Message deals with a message of the exchange. An error is this bench's own:
// the message must come again.
func (b *Bench) Message(m Message, now int64) (Came, error) {
	marks, err := b.notBefore(m)
	if err != nil {
		return Came{}, err
	}
	cursor := Cursor{m.Epoch, m.Number, sha256.Sum256(m.Payload), b.holes}
	passed := Passed{Epoch: m.Epoch, Message: m.Number, Feed: m.Feed}
	if m.Payload == nil {
		return Came{}, errors.Join(b.step(passed, now), b.checkLevel(m.Number, now))
	}
	b.Inbox.ahead = m.Ahead
	defer func() { b.Inbox.ahead = nil }()
	came, err := b.Inbox.Take(m.Payload, m.Number, func(c Came) []Mark {
		passed.Along = nil // it may be asked twice
		if c.Head.Feed == m.Feed {
			passed.Along = c.along
			if c.Aside != 0 && planted.Bug("what is kept aside moves the spot") {
				passed.Along = []eventlog.Stretch{{Reach: eventlog.Reach{Branch: eventlog.First(m.Feed), Head: c.Head}, From: c.Place.First}}
			}
		}
		more := append(marks, cursor.mark())
		for _, s := range b.core.spotsAfter(passed) {
			more = append(more, s.mark(m.Epoch))
		}
		return more
	})
	if err != nil {
		return came, err
	}
	return came, errors.Join(b.step(passed, now), b.after(came, now), b.checkLevel(m.Number, now))
}

// notBefore gives the marks that go where a message shows that the exchange is
// another than was met, or was put back: spots of before would outlive a crash.
func (b *Bench) notBefore(m Message) ([]Mark, error) {
	if m.Epoch != b.epoch {
		b.epoch, b.level, b.holes = m.Epoch, math.MaxUint64, 0 // where it ends, Last or Meet tells
	}
	if m.Epoch == b.core.epoch && m.Number > b.core.read || planted.Bug("spots outlive what they are of") {
		return nil, nil
	}
	gone, err := b.marksOf(m.Epoch)
	return append(gone, notSurveyed(m.Epoch)), err
}

// after lets the core know what grew, and tries what waited for it.
func (b *Bench) after(came Came, now int64) error {
	if !came.cures() && !b.Inbox.owes() {
		return nil
	}
	var grew Grew
	if came.Took > 0 {
		grew.Branches = append(grew.Branches, came.reach)
	}
	again, err := b.Inbox.Again(came)
	for _, c := range again {
		grew.Branches = append(grew.Branches, c.reach)
	}
	if len(grew.Branches) == 0 {
		return err
	}
	return errors.Join(err, b.step(grew, now))
}

// Bundle deals with a segment that came another way than by the exchange.
func (b *Bench) Bundle(payload []byte, now int64) (Came, error) {
	return b.BundleAhead(payload, nil, now)
}

// BundleAhead is Bundle of a segment whose opening was begun.
func (b *Bench) BundleAhead(payload []byte, ahead *Opening, now int64) (Came, error) {
	b.Inbox.ahead = ahead
	defer func() { b.Inbox.ahead = nil }()
	came, err := b.Inbox.Take(payload, 0, nil)
	if err != nil {
		return came, err
	}
	return came, b.after(came, now)
}

// Grew looks what was added to the log by other means.
func (b *Bench) Grew(now int64) error {
	_, roster, err := b.Inbox.refresh()
	if err != nil {
		return err
	}
	moved, mark := b.log.Moved(b.mark) // the inbox may have seen some of them before
	grew := Grew{slices.DeleteFunc(moved, func(r eventlog.Reach) bool { return b.core.here[r.Branch] == r })}
	if len(grew.Branches) == 0 && !roster && !b.Inbox.owes() {
		b.mark = mark
		return nil
	}
	for _, since := range append(ofFeeds(grew.Branches), Came{Roster: roster}) {
		again, err := b.Inbox.Again(since)
		if err != nil {
			b.Inbox.owe(Came{Roster: roster})
			return err
		}
		for _, c := range again {
			grew.Branches = append(grew.Branches, c.reach)
		}
	}
	if err := b.step(grew, now); err != nil {
		return err
	}
	b.mark = mark
	return nil
}

// ofFeeds are what came, where all that is known is how far the feeds go.
func ofFeeds(branches []eventlog.Reach) (list []Came) {
	for _, r := range branches {
		list = append(list, Came{Place: segment.Place{Feed: r.Feed}, Head: r.Head})
	}
	return list
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
	return errors.Join(b.checkLevel(b.core.read, now), b.step(Tick{}, now))
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
	var in Input
	var err error
	switch e := e.(type) {
	case Post:
		in, err = b.post(x, e)
	case Ask:
		in, err = b.find(x, e.Branch)
	}
	if err != nil {
		b.todo = append([]Effect{e}, b.todo...) // it is still to be done
		return err
	}
	return b.step(in, now())
}

// post seals the next run of a branch and publishes it.
func (b *Bench) post(x Exchange, p Post) (Input, error) {
	_, ok, err := b.log.Find(events.Head{Feed: p.Feed, Seq: p.After, Hash: p.Prev})
	if err != nil {
		return nil, err
	}
	if !ok && !planted.Bug("what is kept aside moves the spot") {
		return Failed{p.Branch, Forked}, nil
	}
	payload, end, err := b.Seal(p.Branch, p.After)
	switch {
	case errors.Is(err, segment.ErrTooLarge):
		return Failed{p.Branch, TooLarge}, nil
	case errors.Is(err, ErrUnproven):
		return Failed{p.Branch, Unproven}, nil
	case err != nil:
		return nil, err
	}
	number, failure := x.Publish(p.Feed, p.Expect, payload)
	if failure != 0 {
		return Failed{p.Branch, failure}, nil
	}
	return Posted{p.Branch, number, p.After + 1, end.Head}, nil
}

// find asks for a feed's last message.
func (b *Bench) find(x Exchange, of eventlog.Branch) (Input, error) {
	m, failure := x.Last(of.Feed)
	if failure != 0 {
		return Failed{of, failure}, nil
	}
	found := Found{Feed: of.Feed, Message: m.Number}
	if m.Number == 0 {
		return found, nil
	}
	o, err := b.Inbox.open(m.Payload)
	if err != nil || o.Feed != of.Feed {
		return found, nil
	}
	found.Along, err = b.log.Along(o.First, o.Head.Head)
	return found, err
}

// Standing is how a bench stands to an exchange.
type Standing struct {
	Level   bool          // all that is there is here, and all that is here is there
	Missing []events.Head // what is known to go further than what is here
	Owing   []events.Head // what is here and not there
	Stuck   map[events.FeedID]string
	Sealed  int // segments that can't be read until the bench is given a key
}

// Standing compares heads; no cursor is believed (P9).
func (b *Bench) Standing() Standing {
	s := Standing{Level: b.core.IsLevel(), Owing: b.core.Owing(), Stuck: b.core.Stuck(), Sealed: b.Inbox.Sealed()}
	for _, h := range b.Inbox.Missing() {
		s.Missing = append(s.Missing, h.Head)
	}
	if planted.Bug("level by the cursor alone") {
		s.Level = b.core.met && b.core.level
		return s
	}
	s.Level = s.Level && len(s.Missing) == 0 && len(s.Stuck) == 0 && s.Sealed == 0 && !b.Inbox.Reread
	return s
}

// Resting reports whether the bench has met its exchange and nothing is left to
// read, to give or to wait for, as far as it knows.
func (b *Bench) Resting() bool {
	return b.core.met && b.core.level && len(b.todo) == 0 && len(b.core.flight) == 0 && b.wake == 0
}
