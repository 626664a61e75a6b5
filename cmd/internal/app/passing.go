package app

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/sheets"
	"oldhand/projections"
)

// Whether a set may be said to have passed, asked wherever a verdict is written:
// at the end of a sheet, by hand, and by a correction. The rule is package
// sheets'; here is what it is asked of.

// NotPassed is returned when a set would be said to have passed and has not.
// Nothing was saved.
type NotPassed struct {
	Unit  string
	Lacks []sheets.Lack
	Over  []sheets.Over
}

func (e *NotPassed) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s has not passed:", e.Unit)
	for _, o := range e.Over {
		fmt.Fprintf(&b, "\n  %s: %s as left; no words help here, only a later reading at this point within every limit used there", o.Point, o.Why)
	}
	for _, l := range e.Lacks {
		fmt.Fprintf(&b, "\n  check %d, %s: %s", l.Number, l.Label, l.What)
	}
	return b.String()
}

// mayPass refuses a batch that says of a unit that it passed where the rule says
// otherwise. Readings of the batch count. It is no word on whether a set is safe.
func (s *Shop) mayPass(r projections.Reader, h *projections.History, visit events.VisitID, bodies []events.Body, at events.When) error {
	for i, b := range bodies {
		t, ok := b.(events.FinalTest)
		if !ok || t.Verdict != events.Passed {
			continue
		}
		read := readingsOf(h, visit)
		for _, o := range bodies[:i] {
			if x, ok := o.(events.ReadingTaken); ok {
				read = append(read, dated{ReadingTaken: x, day: dayOf(at, events.EventID{})})
			}
		}
		if err := s.passes(r, h, t, inOrderOfDays(read)); err != nil {
			return err
		}
	}
	return nil
}

func (s *Shop) passes(r projections.Reader, h *projections.History, t events.FinalTest, read []events.ReadingTaken) error {
	var checks []events.Check
	not := &NotPassed{Unit: unitName(h)}
	if !t.Sheet.IsZero() {
		sheet, ok, err := s.sheets.byID(r, s.now(), t.Sheet)
		if err != nil {
			return err
		}
		if !ok {
			return &Wrong{"the sheet of the test", "is not at this bench, so its checks can't be looked at; meet the bench that has it first"}
		}
		checks = sheet.Sheet.Checks
		not.Lacks = sheets.Lacks(sheets.Hold(checks, read, t.Checks, events.AsLeft))
	} else if sheet, err := s.sheetForUnit(r, h); err != nil {
		return err
	} else if sheet != nil && sheet.Own {
		checks = sheet.Sheet.Checks
	}
	if not.Over = sheets.StillOver(read, checks); len(not.Over)+len(not.Lacks) > 0 {
		return not
	}
	return nil
}

// mayStand is mayPass for a verdict that a correction would write, or that would
// stand again.
func (s *Shop) mayStand(r projections.Reader, h *projections.History, e projections.Entry, f events.Fact) error {
	b, err := events.DecodeBody(f.Kind, f.Version, f.Body)
	if err != nil || b.Kind() != events.KindFinalTest {
		return nil // of another kind, or none that is read here
	}
	return s.mayPass(r, h, visitOf(h, e), []events.Body{b}, f.At)
}

// visitOf is the visit that an entry stands in, or stood in before it was taken back.
func visitOf(h *projections.History, e projections.Entry) events.VisitID {
	for _, v := range h.Visits {
		if slices.ContainsFunc(v.Entries, func(o projections.Entry) bool { return o.ID == e.ID }) {
			return v.ID
		}
	}
	return e.Visit
}

// dated is a reading with its day.
type dated struct {
	events.ReadingTaken
	day events.Day
	id  events.EventID // zero for one that is being written
}

// readingsOf are the readings of a visit that stand, in the order recorded.
func readingsOf(h *projections.History, visit events.VisitID) (list []dated) {
	for i := range h.Visits {
		v := &h.Visits[i]
		if v.ID != visit && !slices.Contains(v.Also, visit) {
			continue
		}
		list = append(list, readingsIn(v)...)
	}
	return list
}

func readingsIn(v *projections.Visit) (list []dated) {
	entries := slices.Clone(v.Entries)
	slices.SortFunc(entries, func(a, b projections.Entry) int { return a.ID.Compare(b.ID) })
	for _, e := range entries {
		if b, ok := e.Decode().(events.ReadingTaken); ok {
			list = append(list, dated{b, dayOf(e.At, e.ID), e.ID})
		}
	}
	return list
}

// inOrderOfDays puts readings in the order in which they were taken: by their days,
// and on one day as they were written down, since of many no more than the day is
// known. One that is written down late is no later reading.
func inOrderOfDays(read []dated) (list []events.ReadingTaken) {
	slices.SortStableFunc(read, func(a, b dated) int { return cmp.Compare(a.day, b.day) })
	for _, r := range read {
		list = append(list, r.ReadingTaken)
	}
	return list
}
