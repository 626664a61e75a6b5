package app

import (
	"fmt"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Norm is what other sets of a unit's model read at a point as they left: the row
// of the fleet question "norms", without what the unit itself gave to it.
type Norm struct{ projections.NormRow }

// Norm finds it by reading the rows of that one point, however large the shop is.
// Kind is an id of package measure's table; empty is the kind that the point
// tells, else the one that most sets were read in. Found is false where no other
// set of the model was read there.
func (s *Shop) Norm(unit, point, kind string) (n Norm, found bool, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, unit)
		if err != nil {
			return err
		}
		n.NormRow, found, err = projections.NormOf(v, h, point, orElse(kind, measureOf(point, "")))
		return err
	})
	return n, found, err
}

// Words are "usual 62 to 88 mV in 14 other sets; middle 75 mV". With too few sets
// for a usual interval they are the range: "62 to 88 mV in 3 other sets".
func (n Norm) Words() string {
	if n.Low == nil {
		return n.span()
	}
	_, middle, _ := n.Shown()
	return n.span() + "; middle " + n.withUnit(middle)
}

// Against is the words with how a reading lies to the usual interval. It tells
// where the reading lies, and not whether the set is sound; of a reading of safety
// it does not tell even that, since "within" would be taken for a verdict.
func (n Norm) Against(b events.ReadingTaken) string {
	side, ok := n.Side(b)
	if !ok || n.IsSafety() {
		return n.Words()
	}
	return n.span() + "; " + map[int]string{-1: "this is below", 0: "this lies within", 1: "this is above"}[side]
}

func (n Norm) span() string {
	low, _, high := n.Shown()
	values := low + " to " + n.withUnit(high)
	if low == high {
		values = n.withUnit(low)
	}
	sets := "1 other set"
	if n.Sets > 1 {
		sets = fmt.Sprintf("%d other sets", n.Sets)
	}
	if n.Low != nil {
		values = "usual " + values
	}
	if n.IsSafety() {
		return values + " in " + sets + ", which is no limit"
	}
	return values + " in " + sets
}

func (n Norm) withUnit(number string) string {
	if n.In == "" {
		return number
	}
	return number + " " + n.In
}

// Measure writes a reading down and says how it lies to what is usual.
func (s *Shop) Measure(unit string, w Who, b events.ReadingTaken) (Saved, error) {
	saved, err := s.Record(unit, w, b)
	if err != nil {
		return saved, err
	}
	n, found, err := s.Norm(unit, b.Point, b.Measure)
	switch {
	case err != nil: // the reading is saved all the same
		saved.Notes = append(saved.Notes, "what is usual at "+b.Point+" could not be read: "+err.Error())
	case found:
		saved.Usual = n.Against(b)
	}
	return saved, nil
}
