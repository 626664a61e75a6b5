package replicate

import (
	"maps"
	"slices"

	"oldhand/events"
	"oldhand/sync/replicate/planted"
)

// Spot is how far an exchange has a feed: the number of its last message there
// and the head that its messages lead to without a hole. Message is zero where
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

	here   map[events.FeedID]events.Head
	there  map[events.FeedID]Spot
	due    map[events.FeedID]bool // here goes further than there
	flight map[events.FeedID]bool
	ask    map[events.FeedID]bool   // what is there must be asked for first
	await  map[events.FeedID]uint64 // reading must have come to this message first
	hold   map[events.FeedID]int64  // not before this time
	stuck  map[events.FeedID]string // why nothing more is given of it
}

// NewCore makes the core of a bench that has met no exchange yet.
func NewCore(bench events.BenchID) *Core {
	c := &Core{bench: bench, here: map[events.FeedID]events.Head{}, flight: map[events.FeedID]bool{}}
	c.forget()
	return c
}

// forget drops all that was known of an exchange. What is on its way stays on
// its way: its answer will come.
func (c *Core) forget() {
	c.there, c.due, c.ask = map[events.FeedID]Spot{}, map[events.FeedID]bool{}, map[events.FeedID]bool{}
	c.hold, c.stuck, c.await = map[events.FeedID]int64{}, map[events.FeedID]string{}, map[events.FeedID]uint64{}
	c.level, c.read = false, 0
}

// Step takes an input at a time, in milliseconds on a clock that nobody sets,
// with a number drawn at random, and gives what is to be done.
func (c *Core) Step(in Input, now int64, random uint64) []Effect {
	switch in := in.(type) {
	case Met:
		c.meet(in, now, random)
	case Parted:
		c.met, c.flight = false, map[events.FeedID]bool{}
	case Grew:
		for _, h := range in.Heads {
			c.grow(h, now, random)
		}
	case Passed:
		c.pass(in, now, random)
	case Level:
		c.level = true
	case Posted:
		c.posted(in, now, random)
	case Failed:
		c.failed(in, now, random)
	case Found:
		c.found(in, now, random)
	case Tick:
	}
	return c.plan(now)
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
	for _, h := range c.here {
		c.grow(h, now, random)
		c.ask[h.Feed] = c.due[h.Feed] // it may have been given in the meantime, and not be read back so far
	}
}

// grow notes how far a feed goes here.
func (c *Core) grow(h events.Head, now int64, random uint64) {
	c.here[h.Feed] = h
	if h.Seq <= c.there[h.Feed].Head.Seq {
		delete(c.due, h.Feed)
		delete(c.hold, h.Feed)
		return
	}
	if !c.due[h.Feed] && h.Feed.Bench != c.bench {
		c.hold[h.Feed] = now + leaveToOwner + int64(random%leaveSpread)
	}
	c.due[h.Feed] = true
}

// pass notes a message that was read. One with a number already read, or of
// another epoch, says that the exchange is another, or was put back: what was
// known of it is worth nothing.
func (c *Core) pass(in Passed, now int64, random uint64) {
	if in.Epoch != c.epoch || in.Message <= c.read {
		c.forget()
		c.epoch = in.Epoch
		for _, h := range c.here {
			c.grow(h, now, random)
		}
	}
	c.read = in.Message
	if in.Feed == (events.FeedID{}) {
		return // nothing of ours
	}
	c.set(in.Feed, c.there[in.Feed].with(in.Message, in.First, in.Head), now, random)
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

func (c *Core) set(f events.FeedID, s Spot, now int64, random uint64) {
	c.there[f] = s
	if h, ok := c.here[f]; ok {
		c.grow(h, now, random)
	}
}

func (c *Core) posted(in Posted, now int64, random uint64) {
	delete(c.flight, in.Feed)
	c.set(in.Feed, c.there[in.Feed].with(in.Message, in.First, in.Head), now, random)
	delete(c.hold, in.Feed)
}

func (c *Core) failed(in Failed, now int64, random uint64) {
	delete(c.flight, in.Feed)
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
	case Forked: // what is known there is not the branch here, which is given from its first event
		c.set(in.Feed, Spot{Message: c.there[in.Feed].Message}, now, random)
	case TooLarge:
		c.stuck[in.Feed] = "a run between two signed heads is too long for a segment"
	case Offline:
		c.met = false
	}
	if pause > 0 {
		c.hold[in.Feed] = now + pause
	}
}

func (c *Core) found(in Found, now int64, random uint64) {
	delete(c.flight, in.Feed)
	delete(c.ask, in.Feed)
	if in.Message == 0 {
		c.set(in.Feed, Spot{}, now, random) // the exchange lost it, or never had it
		return
	}
	s := c.there[in.Feed]
	if in.Message < s.Message {
		s = Spot{} // it was put back meanwhile
	}
	next := s.with(in.Message, in.First, in.Head)
	if in.Message > c.read && next.Head == s.Head {
		c.await[in.Feed] = in.Message // what lies between was not read yet
	}
	c.set(in.Feed, next, now, random)
}

// plan gives the effects that are due.
func (c *Core) plan(now int64) (effects []Effect) {
	if !c.met {
		return nil
	}
	wake := int64(0)
	for _, f := range slices.SortedFunc(maps.Keys(c.due), events.FeedID.Compare) {
		switch until := c.hold[f]; {
		case c.flight[f] || c.stuck[f] != "" || c.await[f] > c.read || f.Bench != c.bench && !c.level:
		case len(c.flight) >= mostInFlight:
			return effects // whatever lands plans again
		case until > now:
			if wake == 0 || until < wake {
				wake = until
			}
		case c.mustAsk(f):
			c.flight[f] = true
			effects = append(effects, Ask{f})
		default:
			c.flight[f] = true
			s := c.there[f]
			effects = append(effects, Post{Feed: f, After: s.Head.Seq, Prev: s.Head.Hash, Expect: s.Message})
		}
	}
	if wake > 0 {
		effects = append(effects, Wake{wake})
	}
	return effects
}

// mustAsk reports whether what is there of a feed is not known: after a failure,
// or while what was there from before has not all passed.
func (c *Core) mustAsk(f events.FeedID) bool {
	_, known := c.there[f]
	return c.ask[f] || !known && !c.level
}

// Missing is what the exchange has of each feed beyond what is here.
func (c *Core) Missing() (list []events.Head) {
	for f, s := range c.there {
		if s.Head.Seq > c.here[f].Seq {
			list = append(list, s.Head)
		}
	}
	slices.SortFunc(list, func(a, b events.Head) int { return a.Feed.Compare(b.Feed) })
	return list
}

// Owing is what is here of each feed beyond what the exchange has.
func (c *Core) Owing() (list []events.Head) {
	for f := range c.due {
		list = append(list, c.here[f])
	}
	slices.SortFunc(list, func(a, b events.Head) int { return a.Feed.Compare(b.Feed) })
	return list
}

// spotAfter is what will be known of a feed once a message of it has passed.
func (c *Core) spotAfter(in Passed) Spot {
	if in.Epoch != c.epoch || in.Message <= c.read {
		return Spot{}.with(in.Message, in.First, in.Head)
	}
	return c.there[in.Feed].with(in.Message, in.First, in.Head)
}

// Stuck says of which feeds nothing more is given, and why.
func (c *Core) Stuck() map[events.FeedID]string { return maps.Clone(c.stuck) }

// IsLevel reports whether all that the exchange had when it was met has passed,
// and nothing that is here is missing there.
func (c *Core) IsLevel() bool { return c.met && c.level && len(c.due) == 0 && len(c.flight) == 0 }

// Spots are what is known of the exchange, by feed.
func (c *Core) Spots() map[events.FeedID]Spot { return maps.Clone(c.there) }
