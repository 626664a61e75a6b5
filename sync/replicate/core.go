package replicate

import (
	"maps"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
)

// Spot is how far an exchange has a branch of a feed: the head that its messages
// lead to without a hole, and, with the branch that came here first, the number
// of the feed's last message there, which all its branches share; zero where
// there is none.
type Spot struct {
	Message uint64
	Head    events.Head
}

// How long a bench waits, in milliseconds.
const (
	leaveToOwner  = 300   // before it gives what another bench wrote, who may do it
	leaveSpread   = 1200  // and by how much that differs from bench to bench
	busyPause     = 80    // when another message of the feed is on its way
	fullPause     = 5_000 // when the exchange takes nothing more
	mostInFlight  = 8     // feeds of which a message is on its way
	unprovenPause = 2_000 // when no signed head covers what would be given
)

// Core decides what a bench gives to one exchange. Each Step takes one input and
// says what to do next; nothing happens in between.
type Core struct {
	bench events.BenchID

	met   bool
	level bool // all that was there when met has passed
	epoch string
	read  uint64 // the last message that passed

	here  map[eventlog.Branch]eventlog.Reach
	forks map[events.FeedID][]eventlog.Branch // those of here that did not come first
	there map[eventlog.Branch]Spot
	due   map[eventlog.Branch]bool   // here goes further than there
	hold  map[eventlog.Branch]int64  // not before this time
	stuck map[eventlog.Branch]string // why nothing more is given of it

	flight map[events.FeedID]bool
	ask    map[events.FeedID]bool   // what is there must be asked for first
	await  map[events.FeedID]uint64 // reading must have come to this message first
	lines  lines                    // of what is due
}

// NewCore makes the core of a bench that has met no exchange yet.
func NewCore(bench events.BenchID) *Core {
	c := &Core{bench: bench, here: map[eventlog.Branch]eventlog.Reach{}, forks: map[events.FeedID][]eventlog.Branch{}, flight: map[events.FeedID]bool{}}
	c.forget()
	return c
}

// forget drops all that was known of an exchange. What is on its way stays on
// its way: its answer will come.
func (c *Core) forget() {
	c.there, c.due, c.ask = map[eventlog.Branch]Spot{}, map[eventlog.Branch]bool{}, map[events.FeedID]bool{}
	c.hold, c.stuck, c.await = map[eventlog.Branch]int64{}, map[eventlog.Branch]string{}, map[events.FeedID]uint64{}
	c.level, c.read, c.lines = false, 0, lines{queued: map[eventlog.Branch]bool{}}
}

// Step takes an input at a time, in milliseconds on a clock that nobody sets,
// with a number drawn at random, and gives what is to be done.
func (c *Core) Step(in Input, now int64, random uint64) []Effect {
	c.hear(in, now, random)
	return c.plan(now)
}

func (c *Core) hear(in Input, now int64, random uint64) {
	switch in := in.(type) {
	case Met:
		c.meet(in, now, random)
	case Parted:
		c.met, c.flight = false, map[events.FeedID]bool{}
	case Grew:
		for _, r := range in.Branches {
			c.grow(r, now, random)
		}
	case Passed:
		c.pass(in, now, random)
	case Level:
		c.level = true
		for b := range c.due { // what others wrote waited for it
			c.queue(b)
		}
	case Posted:
		c.posted(in, now, random)
	case Failed:
		c.failed(in, now, random)
	case Found:
		c.found(in, now, random)
	case Tick:
	}
}

// meet begins with an exchange, or goes on with it after a cut. What it was
// given and did not pass back since is not believed: it may have been put back
// to an older copy meanwhile, that ends behind what was read.
func (c *Core) meet(in Met, now int64, random uint64) {
	if !planted.Bug("what was posted is believed over a cut") || in.Epoch != c.epoch || c.read == 0 {
		c.forget()
	}
	c.met, c.epoch, c.read, c.flight = true, in.Epoch, in.Read, map[events.FeedID]bool{}
	if len(c.there) == 0 {
		maps.Copy(c.there, in.Spots)
	}
	for b, r := range c.here {
		c.grow(r, now, random)
		c.ask[b.Feed] = c.ask[b.Feed] || c.due[b] // it may have been given in the meantime, and not be read back so far
	}
}

// grow notes how far a branch goes here.
func (c *Core) grow(r eventlog.Reach, now int64, random uint64) {
	b := r.Branch
	if _, known := c.here[b]; !known && b != eventlog.First(b.Feed) {
		c.forks[b.Feed] = append(c.forks[b.Feed], b)
	}
	c.here[b] = r
	if r.Head.Seq <= c.spot(r).Head.Seq || planted.Bug("a branch is given to nobody") && b != eventlog.First(b.Feed) {
		delete(c.due, b)
		delete(c.hold, b)
		return
	}
	if !c.due[b] && b.Feed.Bench != c.bench {
		c.hold[b] = now + leaveToOwner + int64(random%leaveSpread)
	}
	c.due[b] = true
	c.queue(b)
}

// spot is how far the exchange has a branch. One of which nothing is there
// stands where it leaves another: that is given, or was, as part of the other.
func (c *Core) spot(r eventlog.Reach) Spot {
	if s, ok := c.there[r.Branch]; ok {
		return s
	}
	return beginningOf(r)
}

func beginningOf(r eventlog.Reach) (s Spot) {
	if r.Base.Seq > 0 {
		s.Head = r.Base
	}
	return s
}

// pass notes a message that was read. One with a number already read, or of
// another epoch, says that the exchange is another, or was put back: what was
// known of it is worth nothing.
func (c *Core) pass(in Passed, now int64, random uint64) {
	if in.Epoch != c.epoch || in.Message <= c.read {
		c.forget()
		c.epoch = in.Epoch
		for _, r := range c.here {
			c.grow(r, now, random)
		}
	}
	c.read = in.Message
	if in.Feed == (events.FeedID{}) {
		return // nothing of ours
	}
	c.setAll(spotsAfter(c.spot, in.Feed, in.Message, in.Along), now, random)
}

// spotOn is a spot of a branch.
type spotOn struct {
	eventlog.Branch
	Spot
}

// spotsAfter are the spots of a feed's branches that one more message moves, by
// what they were before: first that of the branch which came here first, for the
// number of the message.
func spotsAfter(before func(eventlog.Reach) Spot, f events.FeedID, message uint64, along []eventlog.Stretch) []spotOn {
	first := eventlog.First(f)
	list := []spotOn{{first, before(eventlog.Reach{Branch: first}).with(message, 0, events.Head{})}}
	for _, s := range along {
		if s.Branch == first || planted.Bug("branches are told apart by nobody") {
			list[0].Spot = list[0].with(message, s.From, s.Head)
			continue
		}
		list = append(list, spotOn{s.Branch, before(s.Reach).with(0, s.From, s.Head)})
	}
	return list
}

// with is the spot after one more message. Only what leads on without a hole
// moves the head: a message that can't be read, or that skips events, leaves
// them to be given by whoever has them.
func (s Spot) with(message, first uint64, head events.Head) Spot {
	s.Message = max(s.Message, message)
	if head.Seq > s.Head.Seq && (first <= s.Head.Seq+1 || planted.Bug("the spot moves over a hole")) {
		s.Head = head
	}
	return s
}

func (c *Core) setAll(list []spotOn, now int64, random uint64) {
	for _, s := range list {
		c.set(s.Branch, s.Spot, now, random)
	}
}

func (c *Core) set(b eventlog.Branch, s Spot, now int64, random uint64) {
	c.there[b] = s
	if r, ok := c.here[b]; ok {
		c.grow(r, now, random)
	}
}

func (c *Core) posted(in Posted, now int64, random uint64) {
	c.landed(in.Feed)
	r := c.here[in.Branch]
	r.Branch, r.Head = in.Branch, in.Head
	c.setAll(spotsAfter(c.spot, in.Feed, in.Message, []eventlog.Stretch{{Reach: r, From: in.First}}), now, random)
	delete(c.hold, in.Branch)
}

func (c *Core) failed(in Failed, now int64, random uint64) {
	c.landed(in.Feed)
	pause := int64(0)
	switch in.Why {
	case Behind, Unclear:
		c.ask[in.Feed] = in.Why == Behind || !planted.Bug("sent again blindly")
	case Busy:
		c.ask[in.Feed] = true
		pause = busyPause + int64(random%busyPause)
	case Full:
		pause = fullPause + int64(random%fullPause)
	case Unproven:
		pause = unprovenPause + int64(random%unprovenPause)
	case Forked: // what is known there is not on the branch here, which is given from its first event
		s := beginningOf(c.here[in.Branch])
		s.Message = c.there[in.Branch].Message
		c.set(in.Branch, s, now, random)
	case TooLarge:
		c.stuck[in.Branch] = "a run between two signed heads is too long for a segment"
	case Offline:
		c.met = false
	}
	if pause > 0 {
		c.hold[in.Branch] = now + pause
	}
}

func (c *Core) found(in Found, now int64, random uint64) {
	c.landed(in.Feed)
	delete(c.ask, in.Feed)
	if first := eventlog.First(in.Feed); in.Message == 0 || in.Message < c.there[first].Message {
		c.set(first, Spot{}, now, random) // the exchange lost it, or never had it, or was put back meanwhile
		for _, b := range c.forks[in.Feed] {
			c.set(b, beginningOf(c.here[b]), now, random)
		}
	}
	if in.Message == 0 {
		return
	}
	next, leads := spotsAfter(c.spot, in.Feed, in.Message, in.Along), false
	for _, s := range next {
		leads = leads || s.Head != c.spot(eventlog.Reach{Branch: s.Branch, Base: c.here[s.Branch].Base}).Head
	}
	if in.Message > c.read && !leads {
		c.awaitMessage(in.Feed, in.Message) // what lies between was not read yet
	}
	c.setAll(next, now, random)
}

// spotsAfter are what will be known of a feed once a message of it has passed.
func (c *Core) spotsAfter(in Passed) []spotOn {
	if in.Epoch != c.epoch || in.Message <= c.read {
		return spotsAfter(beginningOf, in.Feed, in.Message, in.Along)
	}
	return spotsAfter(c.spot, in.Feed, in.Message, in.Along)
}

// Stuck says of which feeds nothing more is given, or not of one of its branches,
// and why.
func (c *Core) Stuck() map[events.FeedID]string {
	list := map[events.FeedID]string{}
	for b, why := range c.stuck {
		list[b.Feed] = why
	}
	return list
}

// IsLevel reports whether all that the exchange had when it was met has passed,
// and nothing that is here is missing there.
func (c *Core) IsLevel() bool { return c.met && c.level && len(c.due) == 0 && len(c.flight) == 0 }
