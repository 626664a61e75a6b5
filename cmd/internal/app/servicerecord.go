package app

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"oldhand/cmd/internal/report"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/trade"
	"oldhand/projections"
)

// Recording says which service record is wanted, and what is to be on it that is
// not by itself.
type Recording struct {
	Visit   int  // from 1; 0 for the last
	Contact bool // the customer's phone number, mail address and address
	Notes   bool // what the shop noted for itself
}

// ServiceRecord is the record of one visit of a unit, for the owner. What stands in
// it, also its date, follows from what was written down and not from today, so that
// it comes out the same whenever it is asked for.
func (s *Shop) ServiceRecord(typed string, o Recording) (r report.Record, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		n, err := whichVisit(h, typed, o.Visit)
		if err != nil {
			return err
		}
		u, err := pastOf(v, h)
		if err != nil {
			return err
		}
		r = report.Record{Shop: s.Card.Name, Unit: unitOnRecord(h), Visit: n, Of: len(h.Visits)}
		if err := addOwner(&r, v, h.Visits[n-1].Person, o.Contact); err != nil {
			return err
		}
		if err := s.addTests(&u, v, h); err != nil {
			return err
		}
		fillRecord(&r, h, u, o)
		return nil
	})
	return r, err
}

// bySheet puts on a record's test what its sheet asked for and what came of it.
func bySheet(t *report.Test, all []PastTest) {
	for _, p := range all {
		if p.Event != t.Event || p.Sheet == "" {
			continue
		}
		t.Sheet, t.Checks, t.Made, t.Within = p.Sheet, len(p.Checks), p.Made, p.Within
		for _, c := range p.Checks {
			switch {
			case c.Reading == "" && c.LeftOut != "":
				t.Unmade = append(t.Unmade, c.Label+" ("+c.LeftOut+")")
			case c.Reading == "":
				t.Unmade = append(t.Unmade, c.Label)
			case c.Despite != "":
				t.Despite = append(t.Despite, c.Label+", "+c.Reading+" ("+c.Despite+")")
			}
		}
	}
}

// whichVisit is the visit that is meant.
func whichVisit(h *projections.History, typed string, n int) (int, error) {
	all := len(h.Visits)
	switch {
	case all == 0:
		return 0, &NotHere{typed, "was never received; a service record is of a visit"}
	case n < 0 || n > all:
		return 0, &Wrong{fmt.Sprintf("visit %d", n), fmt.Sprintf("%s has %s, the first is 1", typed, events.Count(all, "visit"))}
	case n == 0:
		return all, nil
	}
	return n, nil
}

func unitOnRecord(h *projections.History) report.Unit {
	u := report.Unit{ID: h.Root.String(), Tag: firstTag(h), Maker: h.Maker, Model: h.Model, Serial: h.Serial, Kind: said(h.KindOfSet), Made: events.YearsText(h.YearFrom, h.YearTo)}
	if set, ok := trade.SetOf(h.KindOfSet); ok {
		u.Kind = set.Name
	}
	if u.Made != "" {
		u.MadeBy = yearKnownBy(h)
	}
	return u
}

// yearKnownBy says why the year stands as it does: by the evidence of the
// identification that gave it, else since it was so said at intake.
func yearKnownBy(h *projections.History) string {
	by := "as said when it came in"
	for _, e := range entriesOf(h) {
		b, ok := e.Decode().(events.Identified)
		if !ok || b.YearFrom == 0 {
			continue
		}
		var why []string
		for _, ev := range b.Evidence {
			one := strings.TrimSpace(ev.What + " " + ev.Text)
			if ev.Part != "" {
				one += " on " + ev.Part
			}
			why = append(why, one)
		}
		by = orElse(strings.Join(why, ", "), "as identified on the bench")
	}
	return by
}

// addOwner names the customer. Who is forgotten, or whose name is sealed here, is
// not on paper.
func addOwner(r *report.Record, v opener, id events.PersonID, contact bool) error {
	p, _, err := personOf(v, id)
	if err != nil {
		return err
	}
	r.Customer = p.Name
	if contact {
		for _, w := range []string{p.Address, p.City, p.Phone, p.Email} {
			if w != "" {
				r.Contact = append(r.Contact, w)
			}
		}
	}
	return nil
}

// fillRecord puts a visit's entries in their places.
func fillRecord(r *report.Record, h *projections.History, u PastUnit, o Recording) {
	v := &h.Visits[r.Visit-1]
	past := u.Visits[r.Visit-1]
	r.Received, r.Days, r.Complaint, r.Condition = dayText(v.Received), past.Days, past.Complaint, past.Condition
	r.Found, r.Parts, r.Work, r.Readings, r.NotDone = []report.Entry{}, []report.Part{}, []report.Entry{}, []report.Reading{}, []string{}
	r.Outcome = said(past.Outcome)
	switch v.End {
	case projections.Ended:
		r.Shipped = dayText(v.Shipped)
	case projections.EndUnknown:
		r.Shipped, r.Outcome = "unknown", "not written down"
	}
	if past.Outcome == "unknown" {
		r.Outcome = "not written down"
	}
	for _, e := range v.Entries {
		addEntry(r, e, v, o)
	}
	for _, p := range past.Readings {
		r.Readings = append(r.Readings, readingOnRecord(p))
	}
	for _, w := range past.Waits {
		if w.Days != nil && *w.Days > 0 {
			r.Waits = append(r.Waits, fmt.Sprintf("%s for %s", numbered(*w.Days, "day"), w.For))
		}
	}
	r.Unread = unread(v.Entries)
	r.TakenBack = takenBack(h, v)
	r.Recorded = lastRecorded(h, v)
	addConflictsOf(r, v, u)
	if r.Test != nil {
		bySheet(r.Test, past.Tests)
	}
	addNotDone(r)
	r.Care, r.Cautions = report.Care(h.KindOfSet), report.Cautions(h.KindOfSet, h.YearFrom)
}

// dayText is a day, or that it is not known.
func dayText(at events.When) string {
	if at.Precision == events.Unknown {
		return "unknown"
	}
	return at.Day.String()
}

func takenBack(h *projections.History, v *projections.Visit) (n int) {
	for _, e := range h.Withdrawn {
		if e.Visit == v.ID || slices.Contains(v.Also, e.Visit) && !e.Visit.IsZero() {
			n++
		}
	}
	return n
}

// lastRecorded is when the last of what a record tells was written down.
func lastRecorded(h *projections.History, v *projections.Visit) (last time.Time) {
	see := func(entries []projections.Entry) {
		for _, e := range entries {
			if at := e.Shown.Stamp().Time(); at.After(last) {
				last = at
			}
		}
	}
	see(v.Entries)
	for _, e := range entriesOf(h) {
		if e.Kind == events.KindIdentified {
			see([]projections.Entry{e})
		}
	}
	return last.UTC().Truncate(time.Second)
}

// addConflictsOf says which facts of the visit, or of what the unit is, two benches
// tell otherwise.
func addConflictsOf(r *report.Record, v *projections.Visit, u PastUnit) {
	for _, c := range u.Conflicts {
		if len(c.Versions) < 2 {
			continue
		}
		mine := c.Versions[0].Kind == events.KindIdentified.String() ||
			slices.ContainsFunc(v.Entries, func(e projections.Entry) bool { return e.ID.String() == c.Fact })
		if !mine {
			continue
		}
		one := report.Conflict{Shown: c.Versions[0].Line}
		for _, other := range c.Versions[1:] {
			one.Others = append(one.Others, other.Line)
		}
		r.Conflicts = append(r.Conflicts, one)
	}
}

// addNotDone says what was left out and what was not done, from what is written
// down and from what is not.
func addNotDone(r *report.Record) {
	say := func(text string) { r.NotDone = append(r.NotDone, text) }
	if r.Open() {
		say("The set is still on the bench: this is how far the work was when this was written.")
	}
	if t := r.Test; t != nil {
		if t.LeftOut != "" {
			say("Not tested: " + t.LeftOut)
		}
		if len(t.Unmade) > 0 {
			say("Not tested of the sheet: " + strings.Join(t.Unmade, "; "))
		}
		if len(t.Despite) > 0 {
			say("Taken as it is: " + strings.Join(t.Despite, "; "))
		}
	} else if !r.Open() {
		say("No final test is written down for this visit.")
	}
	var only []string
	for _, p := range r.Readings {
		if p.AsFound != "" && p.AsLeft == "" {
			only = append(only, p.Point)
		}
	}
	if len(only) > 0 && !r.Open() {
		say("Read before the work and not after it: " + strings.Join(only, ", "))
	}
	if r.Outcome == "returned unrepaired" {
		say("The set goes back unrepaired.")
	}
}
