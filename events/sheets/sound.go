package sheets

import (
	"fmt"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// Unsound is returned for a sheet that can't be walked as it stands.
type Unsound struct {
	Number int    // of the check, from 1; 0 for the sheet as a whole
	Label  string // of the check
	Why    string
}

func (e *Unsound) Error() string {
	if e.Number == 0 {
		return "test sheet: " + e.Why
	}
	return fmt.Sprintf("check %d, %s: %s", e.Number, e.Label, e.Why)
}

// Sound refuses a sheet of which a check could not be judged: whose kind of
// measurement is in no table, whose limits can't be read, that is relative to a
// point where no other check reads, or that is read where another is. It asks
// besides what the sheet is for.
func Sound(s events.TestSheetDefined) error {
	if err := s.Validate(); err != nil {
		return err
	}
	switch {
	case s.Model != "" && s.Maker == "", s.Model == "" && s.Maker != "":
		return &Unsound{Why: "a model is named with its maker"}
	case s.Model == "" && s.KindOfSet == "":
		return &Unsound{Why: "say which kind of set, or which maker and model, it is for"}
	}
	points := map[string]int{}
	for i, c := range s.Checks {
		at := strings.ToLower(Point(c)) + "\x00" + c.Stage
		if why := unsound(s.Checks, i); why != "" {
			return &Unsound{i + 1, c.Label, why}
		}
		if n := points[at]; n > 0 {
			return &Unsound{i + 1, c.Label, fmt.Sprintf("it is read at %s, as check %d is; give it a point of its own", Point(c), n)}
		}
		points[at] = i + 1
	}
	return nil
}

// unsound says what is wrong with a check; empty for nothing.
func unsound(checks []events.Check, i int) string {
	c := checks[i]
	k, ok := measure.Find(c.Measure)
	switch {
	case c.Measure != "" && !ok:
		return fmt.Sprintf("there is no kind of measurement %q", c.Measure)
	case ok && k.Quantity == measure.YesNo && c.Low+c.High+c.Beside != "":
		return "a yes or no has no limits: it is right when it is yes"
	case c.Low+c.High == "" && c.Beside != "":
		return "it is relative to " + c.Beside + " and has no limits"
	}
	l, err := LimitsOf(c)
	switch {
	case err != nil:
		return err.Error()
	case l.Beside != "" && !readAt(checks, i, l.Beside):
		return "its limits are relative to " + l.Beside + ", where no other check reads"
	}
	return ""
}

// readAt reports whether another check reads at a point.
func readAt(checks []events.Check, but int, point string) bool {
	for i, c := range checks {
		if i != but && strings.EqualFold(Point(c), point) {
			return true
		}
	}
	return false
}
