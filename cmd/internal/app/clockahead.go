package app

import (
	"fmt"

	"oldhand/events"
	"oldhand/projections"
)

// A clock that was ahead past midnight, here or at another bench, leaves entries of
// tomorrow in a visit. Who then says what was done, and no day, means after that: what
// is recorded is put on the last day that the visit has, and that is said. A day that
// lies further ahead is no slip of an evening, and work there would spoil every answer
// about time: it is for a person to correct. A day that was said is always taken as said.

// afterLast is when something happened that was said of a unit in its last visit, and
// what to tell where that is not now. Nobody's clock is asked who was wrong.
func (s *Shop) afterLast(h *projections.History, w Who) (at events.When, note string) {
	at = s.when(w)
	if w.At.Precision != events.Unknown || h == nil || len(h.Visits) == 0 {
		return at, ""
	}
	last := s.lastDay(&h.Visits[len(h.Visits)-1])
	if last <= at.Day {
		return at, ""
	}
	return events.OnDay(last), fmt.Sprintf("taken as of %s, since the visit of %s has an entry of that day and this laptop's clock says %s: a clock was ahead, or this one is behind", last, unitName(h), at.Day)
}

// lastDay is the last day of a visit that may be said here.
func (s *Shop) lastDay(v *projections.Visit) (last events.Day) {
	for _, e := range v.Entries {
		if day := dayOf(e.At, e.ID); s.notLater(events.OnDay(day)) == nil {
			last = max(last, day)
		}
	}
	return last
}

// farAhead refuses what was said with no day of a unit whose last visit began, or
// ended, on a day that nobody can mean.
func (s *Shop) farAhead(h *projections.History, w Who) error {
	if w.At.Precision != events.Unknown || h == nil || len(h.Visits) == 0 {
		return nil
	}
	v := &h.Visits[len(h.Visits)-1]
	what, day := "came in", dayOf(v.Received, events.EventID(v.ID))
	if s.notLater(events.OnDay(day)) == nil && v.End == projections.Ended && v.Shipped.Precision != events.Unknown {
		what, day = "was shipped", v.Shipped.Day
	}
	if s.notLater(events.OnDay(day)) == nil {
		return nil
	}
	return &NotHere{unitName(h), fmt.Sprintf("%s on %s by a clock that was ahead, and today is %s; correct that entry's day first: its id is told by oldhand past %[4]s --ids, then oldhand correct %[4]s ENTRY --set at=DAY", what, day, s.today(), unitName(h))}
}
