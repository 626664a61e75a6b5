package app

import "oldhand/sync/meet"

// A bench that joins, or comes back after years, takes in more than it has. To
// change its histories and tallies for each piece that comes means to read and
// write the same rows over and over; made once, when all is here, they cost a
// small part of that. Until then what was here before is what is seen.

// mostFollowed is how many events of a meeting or a file are followed as they come,
// whatever is here: making all anew for fewer is not worth it.
var mostFollowed = 2_000

// followedShare is which share of what was here is followed as well: to follow an
// event of a run of many costs about this many times what making it anew does.
const followedShare = 8

// catchingUp has what follows from the events wait once more came than is
// followed. By then following cost as much as making all anew will, so that it is
// worth it even if nothing more comes. Who defers calls freshViews.
// A folder that is lent has others at work on it, who must see what they save.
type catchingUp struct {
	shop   *Shop
	before int // events here at the beginning
	later  bool
}

func (s *Shop) catchingUp() *catchingUp { return &catchingUp{shop: s, before: s.eventsHere()} }

// How many events of a file share a commit. Where they are followed it must not take long.
// Where not, each leaves tables of its own, and opening reads of every table: the more is
// here, the more a commit takes, as far as memory allows.
const (
	perCommitFollowed = 4_000
	leastPerCommit    = 16_000
	mostPerCommit     = 64_000
	commitsHere       = 64 // a commit takes as much as one in so many of what is here
)

// perCommit is how many share one where so many are here and what comes is not followed.
func perCommit(here int) int { return min(max(here/commitsHere, leastPerCommit), mostPerCommit) }

// came is how many events are here that were not.
func (c *catchingUp) came() int { return c.shop.eventsHere() - c.before }

// took tells how many events came so far.
func (c *catchingUp) took(n int) error {
	if c.later || c.shop.lent || n <= max(c.before/followedShare, mostFollowed) {
		return nil
	}
	c.later = true
	return c.shop.Log.DeferViews()
}

// heard is a listener of a meeting that also tells what came. A log that can't
// be written ends the meeting by itself.
func (c *catchingUp) heard(told func(meet.Progress)) func(meet.Progress) {
	return func(p meet.Progress) {
		_ = c.took(p.Took)
		told(p)
	}
}
