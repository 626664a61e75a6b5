package sheets

import (
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// Lack is what keeps a set from having passed, of one check.
type Lack struct {
	Number      int
	Label, What string
}

// Lacks is what is missing of a sheet's checks for a set to pass: a check that was
// not made and of which nobody said why it is left out, and one that is off or
// could not be judged and of which nobody said why the set passes all the same.
func Lacks(rows []Row) (list []Lack) {
	for _, r := range rows {
		what := ""
		switch {
		case !r.Made() && r.LeftOut == "":
			what = "not made; say why it is left out"
		case r.Made() && !r.Good() && r.Despite == "" && r.Judged.Off():
			what = r.Judged.Why + "; say why the set passes all the same"
		case r.Made() && !r.Good() && r.Despite == "":
			what = "not judged, " + r.Judged.Why + "; say why the set passes all the same"
		}
		if what != "" {
			list = append(list, Lack{r.Number, r.Check.Label, what})
		}
	}
	return list
}

// Over is a point at which a touch current or a hot check was over its limit when
// it was last read.
type Over struct {
	Point, Reading, Why string
	Check               int // of the sheet, from 1; 0 where no check is read there
}

// Touch reports whether a kind of measurement is of what a set lets through to
// who touches it.
func Touch(kind string) bool { return kind == "touch-current" || kind == "hot-check-voltage" }

// StillOver are the points of a visit at which what a set lets through was over a
// limit when last read. Limits are those written beside any reading of the point,
// and of any check of that kind on the unit's sheet.
func StillOver(read []events.ReadingTaken, checks []events.Check) (list []Over) {
	for i, r := range read {
		if !Touch(r.Measure) || r.Stage == events.AsFound || laterAt(read[i+1:], r) {
			continue
		}
		if why := overAt(read[:i+1], r, checks); why != "" {
			list = append(list, Over{r.Point, r.Text, why, checkAt(checks, r)})
		}
	}
	return list
}

// laterAt reports whether there is a further reading of the same point.
func laterAt(later []events.ReadingTaken, r events.ReadingTaken) bool {
	for _, o := range later {
		if samePoint(o, r) {
			return true
		}
	}
	return false
}

func samePoint(a, b events.ReadingTaken) bool {
	return a.Measure == b.Measure && a.Stage != events.AsFound && b.Stage != events.AsFound && strings.EqualFold(strings.TrimSpace(a.Point), strings.TrimSpace(b.Point))
}

// overAt says by what the last reading of a point that could be judged was over a
// limit; empty where it was not. One that can't be judged lifts nothing.
func overAt(read []events.ReadingTaken, at events.ReadingTaken, checks []events.Check) (why string) {
	limits := limitsAt(read, at, checks)
	for _, r := range read {
		if !samePoint(r, at) {
			continue
		}
		v, _ := Value(r, at.Measure)
		judged, off := 0, ""
		for _, l := range limits {
			switch j := l.JudgeAmplitude(v, r.Amplitude == events.Peak, nil); {
			case j.Off():
				off = j.Why
			case j.Result == measure.Within:
				judged++
			}
		}
		switch {
		case off != "":
			why = off
		case judged == len(limits):
			why = ""
		}
	}
	return why
}

// limitsAt are the limits that readings of a point are held against.
func limitsAt(read []events.ReadingTaken, at events.ReadingTaken, checks []events.Check) (list []measure.Limits) {
	k, ok := measure.Find(at.Measure)
	if !ok {
		return nil
	}
	for _, r := range read {
		if l, err := k.ReadLimits(r.Limits); samePoint(r, at) && err == nil && !l.None() {
			list = append(list, l)
		}
	}
	for _, c := range checks {
		if l, err := LimitsOf(c); c.Measure == at.Measure && err == nil && !l.None() {
			list = append(list, l)
		}
	}
	return list
}

func checkAt(checks []events.Check, r events.ReadingTaken) int {
	for i, c := range checks {
		if c.Measure == r.Measure && strings.EqualFold(Point(c), r.Point) {
			return i + 1
		}
	}
	return 0
}
