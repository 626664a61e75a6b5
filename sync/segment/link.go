package segment

import (
	"fmt"

	"oldhand/events"
)

// Link gives the segment's events after a head of its feed, linked behind it.
// The head may be any from the one before the segment to its last event. Of a
// feed that is not known yet it is the zero head: the feed's name, number 0 and
// no hash.
//
// A head before that is ErrGap, one beyond ErrPast, and one with another hash
// than the segment has there ErrFork.
func (o Opened) Link(at events.Head) ([]events.Event, error) {
	if len(o.linked) == 0 || at.Feed != o.Feed {
		return nil, fmt.Errorf("put segment %s behind a head of %s: %w", o.Place, at.Feed.Short(), ErrMalformed)
	}
	before := o.before()
	if at.Seq < before.Seq {
		return nil, fmt.Errorf("put segment %s behind event %d: %w", o.Place, at.Seq, ErrGap)
	}
	if at.Seq > o.Last {
		return nil, fmt.Errorf("put segment %s behind event %d: %w", o.Place, at.Seq, ErrPast)
	}
	dropped := o.linked[:at.Seq-before.Seq]
	if n := len(dropped); n > 0 {
		before = dropped[n-1].Head()
	}
	if at.Hash != before.Hash {
		return nil, &Fork{o.Feed, at.Seq, at.Hash, before.Hash}
	}
	return o.linked[len(dropped):], nil
}
