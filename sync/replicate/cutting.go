package replicate

import (
	"maps"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"
)

// cut lets the log know how far the branches of retired benches' feeds count
// (P12).
func (in *Inbox) cut() error {
	if in.reading || in.book == nil {
		return nil
	}
	cuts, retired := map[eventlog.Branch]uint64{}, false
	r := in.book.Roster()
	own, keyless := in.own.Public()
	for _, b := range r.Benches() {
		retired = retired || b.Retired && keyless == nil && b.ID == own
	}
	ends := map[events.FeedID][]eventlog.Reach{}
	for b, reach := range in.here {
		if bench, ok := r.Bench(b.Feed.Bench); ok && bench.Retired {
			ends[b.Feed] = append(ends[b.Feed], reach)
		}
	}
	for f, branches := range ends {
		if err := in.cutFeed(r, f, branches, cuts); err != nil {
			return err
		}
	}
	return in.log.SetCuts(cuts, retired)
}

// cutFeed cuts the branches of a retired bench's feed: what leads to an event
// that an owner named counts. While one that was named is not here, what ends
// before its number may lead there.
func (in *Inbox) cutFeed(r roster.Roster, f events.FeedID, branches []eventlog.Reach, cuts map[eventlog.Branch]uint64) error {
	upTo, lost := map[eventlog.Branch]uint64{}, uint64(0)
	count := func(h events.Head) (bool, error) {
		along, err := in.log.Along(1, h)
		for _, s := range along {
			upTo[s.Branch] = max(upTo[s.Branch], s.Head.Seq)
		}
		return len(along) > 0, err
	}
	for _, h := range r.Heads(f) {
		here, err := count(h)
		if err != nil {
			return err
		}
		if !here {
			lost = max(lost, h.Seq)
		}
	}
	for _, b := range branches {
		if b.Head.Seq >= lost {
			continue
		}
		if _, err := count(b.Head); err != nil {
			return err
		}
	}
	for _, b := range branches {
		if upTo[b.Branch] < b.Head.Seq {
			cuts[b.Branch] = upTo[b.Branch]
		}
	}
	if planted.Bug("a retired bench's branches all count") {
		maps.DeleteFunc(cuts, func(b eventlog.Branch, _ uint64) bool { return b != eventlog.First(f) })
	}
	return nil
}

// moves reports whether what came may move a cut: the roster may be another, or
// an event that an owner named came on one of several branches of a retired
// bench's feed, so that it is seen which of them lead there.
func (in *Inbox) moves(c Came) bool {
	if c.Roster || c.Took == 0 || !in.ofRetired(c.reach) {
		return c.Roster
	}
	for b := range in.here {
		if b.Feed == c.Head.Feed && b != c.reach.Branch {
			return true
		}
	}
	return false
}

// cutIf cuts where something changed that cuts follow from, also where that was before
// the log failed.
func (in *Inbox) cutIf(changed bool) error {
	if in.uncut = in.uncut || changed; !in.uncut {
		return nil
	}
	err := in.cut()
	in.uncut = err != nil
	return err
}

// Hear notes signed heads that somebody had, as a bundle tells: what is not here
// is known to be missing (P9). A head that is not signed by its
// bench for this shop is not heard.
func (in *Inbox) Hear(heads []events.SignedHead) error {
	var marks []Mark
	before := maps.Clone(in.known)
	for _, s := range heads {
		_, here, err := in.log.Find(s.Head)
		if err != nil {
			return err
		}
		if here || s.Verify(in.shop) != nil {
			continue
		}
		more, done := in.hearOf(s, in.known[s.Feed])
		marks = append(marks, more...)
		done()
	}
	if len(marks) == 0 {
		return nil
	}
	err := in.log.Receive(nil, nil, marks)
	if err != nil {
		in.known = before // what is known is what is remembered, so that it can be heard again
	}
	return err
}
