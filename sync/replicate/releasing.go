package replicate

import (
	"errors"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/hlc"
	"oldhand/sync/segment"
)

// Uncounted is what is held of one feed of a retired bench and does not count:
// what an owner may let count after all.
type Uncounted struct {
	Feed    events.FeedID
	Pieces  []Piece // one behind the other, from what counts on
	Waiting int     // events that nothing here leads to
	Forked  bool    // there is another branch: beside the pieces, or theirs, where it does not come through what counts
}

// Piece is a run of events up to a head that their bench signed. What counts
// ends at such a head: whoever takes a feed takes it from one to the next.
type Piece struct {
	End         events.Head
	Events      int
	First, Last hlc.Stamp // when the first and the last of them were recorded
}

// Uncounted lists what is held of a retired bench and does not count, by feed.
func (in *Inbox) Uncounted(bench events.BenchID) (list []Uncounted, err error) {
	rows, split := map[events.FeedID][]Aside{}, map[events.FeedID]bool{}
	for b, reach := range in.here {
		if b.Feed.Bench != bench {
			continue
		}
		rows[b.Feed] = append(rows[b.Feed], []Aside{}...)
		split[b.Feed] = split[b.Feed] || b != eventlog.First(b.Feed) && !in.Roster().Counts(reach.Head).Counts()
	}
	for _, a := range in.aside.rows {
		if f := a.Place.Feed; f.Bench == bench && a.Why.waits() {
			rows[f] = append(rows[f], a)
		}
	}
	for f, of := range rows {
		slices.SortFunc(of, byPlace)
		u, err := in.uncounted(f, of)
		if err != nil {
			return nil, err
		}
		u.Forked = u.Forked || split[f]
		if len(u.Pieces) > 0 || u.Waiting > 0 || u.Forked {
			list = append(list, u)
		}
	}
	slices.SortFunc(list, func(a, b Uncounted) int { return a.Feed.Compare(b.Feed) })
	return list, nil
}

// uncounted goes along a feed: through what is in the log behind a cut, on the
// branch that came here first, then through what is kept aside.
func (in *Inbox) uncounted(f events.FeedID, rows []Aside) (u Uncounted, err error) {
	c, err := in.chainOf(f)
	if err != nil {
		return u, err
	}
	first := eventlog.First(f)
	here := in.here[first].Head
	for at := min(c.counted, here.Seq); at < here.Seq; {
		evs, end, err := in.log.Run(first, at)
		if err != nil {
			return u, err
		}
		if len(evs) == 0 {
			break // nothing proves the others
		}
		c.add(evs)
		at = end.Seq
	}
	c.at = events.Head{Feed: f, Seq: here.Seq, Hash: here.Hash}
	for _, a := range rows {
		if err := in.addAside(&c, a); err != nil {
			return u, err
		}
	}
	return c.Uncounted, nil
}

// chain is a feed as far as it was gone along.
type chain struct {
	Uncounted
	counted uint64        // how much of it counts, by the number
	leads   bool          // it came through an event up to which the feed counts, or none counts
	lost    []events.Head // such events that are not here and were not passed so far
	at      events.Head
	hashes  map[uint64]events.Hash // of the events passed on the way
}

// chainOf begins the chain of a feed.
func (in *Inbox) chainOf(f events.FeedID) (c chain, err error) {
	c = chain{Uncounted: Uncounted{Feed: f}, hashes: map[uint64]events.Hash{}}
	c.counted, _ = in.Roster().Counted(f)
	ends := in.Roster().Heads(f)
	c.leads = len(ends) == 0
	for _, h := range ends {
		on, here, err := in.log.Find(h)
		if err != nil {
			return c, err
		}
		if !here {
			c.lost = append(c.lost, h)
		}
		c.leads = c.leads || here && on == eventlog.First(f)
	}
	return c, nil
}

// add goes on through events. Who has the bench's key can sign a branch that parts
// before what counts ends and goes on beyond it: what does not come through there is of
// another branch, whatever its number (F25).
func (c *chain) add(evs []events.Event) {
	for _, e := range evs {
		c.hashes[e.Seq] = e.Hash
	}
	c.at = evs[len(evs)-1].Head()
	for len(evs) > 0 && evs[0].Seq <= c.counted {
		if i := slices.Index(c.lost, evs[0].Head()); i >= 0 {
			c.lost, c.leads = slices.Delete(c.lost, i, i+1), true
		}
		evs = evs[1:]
	}
	if n := len(evs); n > 0 {
		c.Pieces = append(c.Pieces, Piece{evs[n-1].Head(), n, evs[0].ID.Stamp(), evs[n-1].ID.Stamp()})
		c.Forked = c.Forked || !c.leads || len(c.lost) > 0
	}
}

// addAside goes on through a segment that is kept aside. They come in the order
// of their first events, so that what does not lead on waits for what is not
// here, or is of another branch.
func (in *Inbox) addAside(c *chain, a Aside) error {
	b, err := in.bytesOf(a)
	if err != nil || b == nil {
		return err
	}
	o, err := in.open(b)
	if err != nil {
		return nil // it is kept aside for another reason too
	}
	if o.Last <= c.at.Seq {
		known, ok := c.hashes[o.Last]
		c.Forked = c.Forked || ok && known != o.Head.Hash
		return nil
	}
	evs, err := o.Link(c.at)
	switch {
	case errors.Is(err, segment.ErrGap):
		c.Waiting += a.Place.Len()
	case errors.Is(err, segment.ErrFork):
		c.Forked = true
	case err == nil:
		c.add(evs)
	}
	return nil
}
