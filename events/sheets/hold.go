package sheets

import (
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// Row is a check of a sheet with what came of it.
type Row struct {
	Number  int // from 1
	Check   events.Check
	Limits  measure.Limits
	Reading *events.ReadingTaken // nil where it was not made
	Judged  measure.Judged
	LeftOut string // why it was not made
	Despite string // why the set passes all the same
}

// Point is where a check is read.
func Point(c events.Check) string {
	if c.Point != "" {
		return c.Point
	}
	return c.Label
}

// Stage is when a check is read, in a test that is as left unless it says otherwise.
func Stage(c events.Check, test string) string {
	switch {
	case c.Stage != "":
		return c.Stage
	case test != "":
		return test
	}
	return events.AsLeft
}

// LimitsOf are the limits of a check. A yes or no is right when it is yes.
func LimitsOf(c events.Check) (measure.Limits, error) {
	k, ok := measure.Find(c.Measure)
	switch {
	case !ok && c.Low == "" && c.High == "":
		return measure.Limits{}, nil
	case !ok:
		return measure.Limits{}, &Unread{c.Label, "limits need a kind of measurement"}
	case k.Quantity == measure.YesNo && c.Low == "" && c.High == "":
		return k.YesWanted(), nil
	}
	return k.LimitsOf(c.Low, c.High, c.Beside)
}

// Unread is returned for a check of which something can't be read.
type Unread struct{ Label, Why string }

func (e *Unread) Error() string { return "check " + e.Label + ": " + e.Why }

// Hold puts a sheet's checks beside the readings of a visit, in the order in which
// they were written, and what was said of checks. A test is at a stage, or as
// left where that is empty.
func Hold(checks []events.Check, read []events.ReadingTaken, notes []events.CheckNote, stage string) []Row {
	rows := make([]Row, len(checks))
	for i, c := range checks {
		rows[i] = Row{Number: i + 1, Check: c, Reading: readingOf(c, read, Stage(c, stage))}
	}
	for _, n := range notes {
		if n.Number >= 1 && n.Number <= len(rows) {
			rows[n.Number-1].LeftOut, rows[n.Number-1].Despite = n.LeftOut, n.Despite
		}
	}
	for i := range rows {
		rows[i].judge(rows, read, stage)
	}
	return rows
}

// readingOf is the last reading of a check.
func readingOf(c events.Check, read []events.ReadingTaken, stage string) *events.ReadingTaken {
	for i := len(read) - 1; i >= 0; i-- {
		r := &read[i]
		if strings.EqualFold(r.Point, Point(c)) && (r.Stage == stage || r.Stage == "") && (c.Measure == "" || r.Measure == "" || r.Measure == c.Measure) {
			return r
		}
	}
	return nil
}

func (r *Row) judge(rows []Row, read []events.ReadingTaken, stage string) {
	var err error
	if r.Limits, err = LimitsOf(r.Check); err != nil {
		r.Judged.Why = err.Error()
		return
	}
	if r.Reading == nil {
		r.Judged.Why = "not made"
		return
	}
	v, why := Value(*r.Reading, r.Check.Measure)
	if why != "" {
		r.Judged.Why = why
		return
	}
	r.Judged = r.Limits.JudgeAmplitude(v, r.Reading.Amplitude == events.Peak, r.beside(rows, read, stage))
}

// beside is the reading that a row's limits are relative to.
func (r *Row) beside(rows []Row, read []events.ReadingTaken, stage string) *measure.Value {
	if r.Limits.Beside == "" {
		return nil
	}
	other := events.Check{Point: r.Limits.Beside, Stage: r.Check.Stage}
	for _, o := range rows {
		if o.Number != r.Number && strings.EqualFold(Point(o.Check), r.Limits.Beside) {
			other.Measure = o.Check.Measure
			break
		}
	}
	t := readingOf(other, read, Stage(other, stage))
	if t == nil {
		return nil
	}
	v, _ := Value(*t, other.Measure)
	return &v
}

// Value is what a reading reads, as a kind of measurement where the reading does
// not say its own; why says why it is no value.
func Value(r events.ReadingTaken, kind string) (v measure.Value, why string) {
	if r.Value.Unit != "" {
		return measure.Value{Text: r.Text, Mant: r.Value.Mant, Exp: r.Value.Exp, Unit: measure.Unit(r.Value.Unit)}, ""
	}
	if r.Measure != "" {
		kind = r.Measure
	}
	k, ok := measure.Find(kind)
	if !ok {
		return v, "the reading is words"
	}
	v, _, err := k.Read(r.Text)
	if err != nil {
		return v, err.Error()
	}
	return v, ""
}

// Made reports whether a check was made.
func (r Row) Made() bool { return r.Reading != nil }

// Good reports whether a check was made and nothing speaks against it.
func (r Row) Good() bool {
	return r.Made() && (r.Judged.Result == measure.Within || r.Judged.Result == measure.NotJudged && r.Limits.None() && r.Check.Low == "" && r.Check.High == "")
}
