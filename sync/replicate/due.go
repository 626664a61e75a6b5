package replicate

import (
	"cmp"
	"container/heap"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// What is due stands in lines, so that a step looks at what may be given next and
// not at all that is due: whoever fills an empty exchange owes it one feed a bench
// and day of all the shop's years. A branch that can't be given yet is taken out of
// its line, and put back by what it waits for: its feed's answer, the time, a
// message that passes, or being level. Why it can't be given is only looked at
// where it is taken out, so that to put back one too many does no harm.

// lines are the branches that are due, each at its place.
type lines struct {
	ready  line[eventlog.Reach]     // to be looked at, in the order in which they are given
	queued map[eventlog.Branch]bool // they are in ready
	held   line[held]
	behind line[behind]
}

// held is a branch that is not given before a time.
type held struct {
	until int64
	eventlog.Reach
}

// Compare orders them by time.
func (h held) Compare(o held) int {
	return cmp.Or(cmp.Compare(h.until, o.until), h.Reach.Compare(o.Reach))
}

// behind is a feed of which nothing is given before a message was read.
type behind struct {
	message uint64
	feed    events.FeedID
}

// Compare orders them by message.
func (b behind) Compare(o behind) int {
	return cmp.Or(cmp.Compare(b.message, o.message), b.feed.Compare(o.feed))
}

// line gives the first of what is in it.
type line[T ordered[T]] struct{ rows heapOf[T] }

type ordered[T any] interface{ Compare(T) int }

func (l *line[T]) len() int { return len(l.rows) }
func (l *line[T]) first() T { return l.rows[0] }
func (l *line[T]) take() T  { return heap.Pop(&l.rows).(T) }
func (l *line[T]) add(t T)  { heap.Push(&l.rows, t) }

// heapOf is a line as package heap wants it.
type heapOf[T ordered[T]] []T

func (h heapOf[T]) Len() int           { return len(h) }
func (h heapOf[T]) Less(i, j int) bool { return h[i].Compare(h[j]) < 0 }
func (h heapOf[T]) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *heapOf[T]) Push(t any)        { *h = append(*h, t.(T)) }
func (h *heapOf[T]) Pop() any {
	last := len(*h) - 1
	t := (*h)[last]
	*h = (*h)[:last]
	return t
}

// queue has a branch looked at, if it is due.
func (c *Core) queue(b eventlog.Branch) {
	if !c.due[b] || c.lines.queued[b] {
		return
	}
	c.lines.queued[b] = true
	c.lines.ready.add(c.here[b])
}

// queueFeed has all branches of a feed looked at.
func (c *Core) queueFeed(f events.FeedID) {
	c.queue(eventlog.First(f))
	for _, b := range c.forks[f] {
		c.queue(b)
	}
}

// landed is that the answer about a feed came.
func (c *Core) landed(f events.FeedID) {
	delete(c.flight, f)
	c.queueFeed(f)
}

// awaitMessage leaves a feed until a message was read.
func (c *Core) awaitMessage(f events.FeedID, message uint64) {
	c.await[f] = message
	c.lines.behind.add(behind{message, f})
}

// plan gives the effects that are due.
func (c *Core) plan(now int64) (effects []Effect) {
	if !c.met {
		return nil
	}
	c.putBack(now)
	for c.lines.ready.len() > 0 && len(c.flight) < mostInFlight {
		r := c.lines.ready.take()
		delete(c.lines.queued, r.Branch)
		switch until := c.hold[r.Branch]; {
		case !c.mayGo(r.Branch):
		case until > now:
			c.lines.held.add(held{until, r})
		default:
			c.flight[r.Feed] = true
			effects = append(effects, c.next(c.here[r.Branch]))
		}
	}
	if len(c.flight) >= mostInFlight {
		return effects // whatever lands plans again
	}
	if wake := c.wakeAt(); wake > 0 {
		effects = append(effects, Wake{wake})
	}
	return effects
}

// putBack has looked at what waited for this time, or for what was read.
func (c *Core) putBack(now int64) {
	for h := &c.lines.held; h.len() > 0 && h.first().until <= now; {
		c.queue(h.take().Branch)
	}
	for b := &c.lines.behind; b.len() > 0 && b.first().message <= c.read; {
		c.queueFeed(b.take().feed)
	}
}

// wakeAt is when the first of what is held may be given; zero where nothing is.
// What waits for something else as well is put back by that.
func (c *Core) wakeAt() int64 {
	for h := &c.lines.held; h.len() > 0; h.take() {
		if first := h.first(); c.mayGo(first.Branch) && c.hold[first.Branch] == first.until {
			return first.until
		}
	}
	return 0
}

// mayGo reports whether nothing but the time keeps a branch from being given.
func (c *Core) mayGo(b eventlog.Branch) bool {
	return c.due[b] && !c.flight[b.Feed] && c.stuck[b] == "" && c.await[b.Feed] <= c.read && (b.Feed.Bench == c.bench || c.level)
}

// next is what is done with a branch whose turn it is.
func (c *Core) next(r eventlog.Reach) Effect {
	if c.mustAsk(r.Feed) {
		return Ask{r.Branch}
	}
	s := c.spot(r)
	return Post{r.Branch, s.Head.Seq, s.Head.Hash, c.there[eventlog.First(r.Feed)].Message}
}

// mustAsk reports whether what is there of a feed is not known: after a failure,
// or while what was there from before has not all passed.
func (c *Core) mustAsk(f events.FeedID) bool {
	_, known := c.there[eventlog.First(f)]
	return c.ask[f] || !known && !c.level
}

// Owing is what is here of each branch beyond what the exchange has, each behind
// the one that it leaves.
func (c *Core) Owing() (list []events.Head) {
	owed := make([]eventlog.Reach, 0, len(c.due))
	for b := range c.due {
		owed = append(owed, c.here[b])
	}
	slices.SortFunc(owed, eventlog.Reach.Compare)
	for _, r := range owed {
		list = append(list, r.Head)
	}
	return list
}
