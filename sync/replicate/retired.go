package replicate

import (
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Of a retired bench an owner's word says up to which event it counts, by that
// event's hash. Whoever has the bench's key can sign another branch that ends
// before that number, so a number proves nothing: events before the counted one
// are taken only when it is seen that they lead to it. Until then they are kept
// aside, and so is what comes after them, up to the counted event itself.

// leads reports whether a segment of events that may count leads to what counts
// of its bench. For a bench at work everything does.
func (in *Inbox) leads(r roster.Roster, o segment.Opened) (bool, error) {
	if _, all := r.Counted(o.Feed); all || planted.Bug("a number proves a retired bench's events") {
		return true, nil
	}
	ends := r.Heads(o.Feed)
	if slices.Contains(ends, o.Head.Head) || in.proven[o.Head.Hash] {
		return true, nil
	}
	var rows []Aside
	for _, a := range in.aside.rows {
		if a.Place.Feed == o.Feed && a.Place.Last > o.Last {
			rows = append(rows, a)
		}
	}
	slices.SortFunc(rows, byPlace)
	return in.follow(o.Head.Head, rows, ends, map[events.Hash]bool{})
}

// follow looks for a way from a head to one of the ends along rows, and
// remembers what lies on it. Each head is tried once.
func (in *Inbox) follow(at events.Head, rows []Aside, ends []events.Head, tried map[events.Hash]bool) (bool, error) {
	if tried[at.Hash] {
		return false, nil
	}
	tried[at.Hash] = true
	for _, a := range rows {
		if a.Place.First > at.Seq+1 || a.Place.Last <= at.Seq {
			continue
		}
		evs, err := in.behindOf(at, a)
		if err != nil {
			return false, err
		}
		if len(evs) == 0 {
			continue
		}
		found := slices.ContainsFunc(evs, func(e events.Event) bool { return slices.Contains(ends, e.Head()) })
		if !found {
			found, err = in.follow(evs[len(evs)-1].Head(), rows, ends, tried)
		}
		if found || err != nil {
			in.proven[at.Hash] = found
			return found, err
		}
	}
	return false, nil
}

// behindOf are the events of a segment kept aside that follow a head; none where
// it does not lead on from there.
func (in *Inbox) behindOf(at events.Head, a Aside) ([]events.Event, error) {
	b, err := in.bytesOf(a)
	if err != nil {
		return nil, err
	}
	o, err := in.open(b)
	if err != nil {
		return nil, nil
	}
	evs, _ := o.Link(at)
	return evs, nil
}

// reachesCounted reports whether what is kept aside of a retired bench's feed
// may lead, by the numbers, from what is here to what counts.
func (in *Inbox) reachesCounted(f events.FeedID) bool {
	upTo := uint64(0) // the nearest of what counts and is not here
	for _, h := range in.lacking(f) {
		if upTo == 0 || h.Seq < upTo {
			upTo = h.Seq
		}
	}
	if upTo == 0 {
		return false
	}
	var rows []Aside
	for _, a := range in.aside.rows {
		if a.Place.Feed == f && a.Why.waits() {
			rows = append(rows, a)
		}
	}
	slices.SortFunc(rows, byPlace)
	at := in.here[eventlog.First(f)].Head.Seq // or any event before it, on this branch or another
	if len(rows) > 0 {
		at = min(at, rows[0].Place.First-1)
	}
	for _, a := range rows {
		if a.Place.First <= at+1 {
			at = max(at, a.Place.Last)
		}
	}
	return at >= upTo
}
