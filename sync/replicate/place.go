package replicate

import (
	"errors"
	"fmt"
	"slices"
	"sort"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// A feed's events are a tree where it had two writers. A segment is a piece of
// one way through it: some of its events may be here, on one branch or more, and
// the others go on from the last of those, at the end of a branch or beside it.

// way is how a segment leads on from what is here.
type way struct {
	evs    []events.Event     // that are not here; none where all are
	reach  eventlog.Reach     // of the branch that they are on, once they are taken
	begins bool               // that branch
	along  []eventlog.Stretch // what the segment holds by branch, once it is taken
}

// mostLed is how many events are gone through to find what leads to a segment, before
// it is asked whether it counts at all. Of a retired bench much may be kept aside, and
// each segment would go through all before it.
var mostLed = 4_000

// led is that number for a segment: nothing of a bench that nobody admitted so far. What
// leads to it was heard when it was kept aside, and can't let it in.
func (in *Inbox) led(o segment.Opened) int {
	if in.Roster().Counts(o.Head.Head).Standing == roster.NotAdmitted {
		return 0
	}
	return mostLed
}

// errLed is given for a segment to which more leads than that.
var errLed = errors.New("much that is kept aside leads to it")

// wayOf finds how a segment leads on. It is segment.ErrGap where what it follows
// is not here, and errLed, with the events gone through, where a number or more lead to
// it.
func (in *Inbox) wayOf(o segment.Opened, most int) (w way, err error) {
	before := events.Head{Feed: o.Feed, Seq: o.First - 1, Hash: o.Prev}
	all := eventsOf(o)
	n, here, err := in.shared(before, all)
	for err == nil && !here {
		if len(all)-len(o.Records) >= most {
			return way{evs: all}, errLed
		}
		var lead []events.Event
		if lead, err = in.leadTo(before); len(lead) == 0 {
			break
		}
		before, _ = lead[0].Before()
		all = append(lead, all...)
		n, here, err = in.shared(before, all)
	}
	switch {
	case err != nil:
		return w, &localError{err}
	case planted.Bug("a gap is taken") && !here, planted.Bug("the hash before is not looked at") && n == 0:
		first, _ := in.log.Reach(eventlog.First(o.Feed))
		first.Branch, first.Head = eventlog.First(o.Feed), o.Head.Head
		return way{evs: all, reach: first}, nil
	case !here:
		return w, fmt.Errorf("put segment %s behind what is here: %w", o.Place, segment.ErrGap)
	}
	at := before
	if n > 0 {
		at = all[n-1].Head()
	}
	if w, err = in.onward(at, all[n:]); err != nil {
		return w, &localError{err}
	}
	return w, in.tread(&w, o, at)
}

// shared is how many of a segment's events are here, and whether what it follows
// is. What is here is here with all before it, so that the last is soon found.
func (in *Inbox) shared(before events.Head, all []events.Event) (n int, here bool, err error) {
	has := func(h events.Head) bool {
		_, ok, failed := in.log.Find(h)
		err = errors.Join(err, failed)
		return ok
	}
	first, _ := in.log.Reach(eventlog.First(before.Feed))
	if end := first.Head; end == before || before.Seq == 0 && end.Seq == 0 {
		return 0, true, nil // as nearly always
	}
	n = sort.Search(len(all), func(i int) bool { return !has(all[i].Head()) })
	return n, n > 0 || has(before), err
}

// onward says on which branch events are that follow one that is here.
func (in *Inbox) onward(at events.Head, evs []events.Event) (w way, err error) {
	on, _, err := in.log.Find(at)
	if err != nil {
		return w, err
	}
	w.evs = evs
	w.reach, _ = in.log.Reach(on)
	w.reach.Branch = on
	if len(evs) == 0 {
		return w, nil
	}
	if w.reach.Head.Seq != at.Seq || w.reach.Head.Hash != at.Hash {
		w.begins, w.reach = true, eventlog.Reach{Branch: eventlog.Branch{Feed: at.Feed, Root: evs[0].Hash}, Base: at}
	}
	w.reach.Head = evs[len(evs)-1].Head()
	return w, nil
}

// tread notes along which branches a segment goes: those of what is here of it,
// and the one that its other events will be on.
func (in *Inbox) tread(w *way, o segment.Opened, at events.Head) (err error) {
	if o.First <= at.Seq {
		if w.along, err = in.log.Along(o.First, at); err != nil {
			return &localError{err}
		}
	}
	if len(w.evs) == 0 {
		return nil
	}
	if last := len(w.along) - 1; last >= 0 && w.along[last].Branch == w.reach.Branch {
		w.along[last].Head = w.reach.Head
		return nil
	}
	w.along = append(w.along, eventlog.Stretch{Reach: w.reach, From: max(at.Seq+1, o.First)})
	return nil
}

// leadTo are events up to one that is not here, of a segment of a retired bench
// that is kept aside because its end does not count. What ends at another event
// may count, and what leads to that then counts with it.
func (in *Inbox) leadTo(at events.Head) ([]events.Event, error) {
	var rows []Aside
	for _, a := range in.aside.rows {
		if a.Why == WhyUnknown && a.Place.Feed == at.Feed && a.Place.First <= at.Seq && at.Seq <= a.Place.Last {
			rows = append(rows, a)
		}
	}
	if planted.Bug("what leads to what counts must count by itself") {
		return nil, nil
	}
	slices.SortFunc(rows, byPlace)
	for _, a := range rows {
		b, err := in.bytesOf(a)
		if err != nil {
			return nil, err
		}
		o, err := in.open(b)
		if err != nil {
			continue // its key may be here no more, or its bytes not
		}
		if evs := eventsOf(o); evs[at.Seq-o.First].Hash == at.Hash {
			return slices.Clone(evs[:at.Seq-o.First+1]), nil
		}
	}
	return nil, nil
}

// conflicts reports whether a segment that can't be put anywhere holds another
// event than one that is here: then its feed has another writer.
func (in *Inbox) conflicts(o segment.Opened) bool {
	first, ok := in.log.Reach(eventlog.First(o.Feed))
	return ok && o.First-1 <= first.Head.Seq
}
