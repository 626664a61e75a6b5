package app

import (
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/sheets"
	"oldhand/projections"
)

// PastTest is a final test as it is told: what was checked, what came of it, and
// the verdict. Which readings were a check's follows from the visit as it stands,
// so a reading that was corrected since is shown as corrected.
type PastTest struct {
	Event   string      `json:"event"`
	At      string      `json:"at"`
	By      string      `json:"by,omitempty"`
	Verdict string      `json:"verdict"`
	Sheet   string      `json:"sheet,omitempty"` // its name
	SheetID string      `json:"sheet_id,omitempty"`
	LeftOut string      `json:"left_out,omitempty"`
	Text    string      `json:"text,omitempty"`
	Checks  []PastCheck `json:"checks,omitempty"`
	Within  int         `json:"within"`         // of the checks
	Made    int         `json:"made"`           // of the checks
	Over    []string    `json:"over,omitempty"` // points where what the set lets through stands over its limit
}

// PastCheck is a check of a test's sheet.
type PastCheck struct {
	Number  int    `json:"number"`
	Label   string `json:"label"`
	Point   string `json:"point"`
	Reading string `json:"reading,omitempty"`
	Limits  string `json:"limits,omitempty"`
	Result  string `json:"result,omitempty"` // within, below, above, no, not judged; empty where it was not made
	Why     string `json:"why,omitempty"`
	LeftOut string `json:"left_out,omitempty"`
	Despite string `json:"despite,omitempty"`
	Off     bool   `json:"off,omitempty"`
}

// addTests puts the final tests into a unit's past.
func (s *Shop) addTests(u *PastUnit, r projections.Reader, h *projections.History) error {
	for i := range h.Visits {
		v := &h.Visits[i]
		for _, e := range v.Entries {
			t, ok := e.Decode().(events.FinalTest)
			if !ok {
				continue
			}
			p, err := s.pastTest(r, h, v, e, t)
			if err != nil {
				return err
			}
			u.Visits[i].Tests = append(u.Visits[i].Tests, p)
		}
	}
	return nil
}

func (s *Shop) pastTest(r projections.Reader, h *projections.History, v *projections.Visit, e projections.Entry, t events.FinalTest) (PastTest, error) {
	p := PastTest{Event: e.ID.String(), At: e.At.String(), By: e.By, Verdict: t.Verdict, LeftOut: t.LeftOut, Text: t.Text}
	var checks []events.Check
	if !t.Sheet.IsZero() {
		sheet, ok, err := s.sheets.byID(r, s.now(), t.Sheet)
		if err != nil {
			return p, err
		}
		p.SheetID, p.Sheet = t.Sheet.String(), "a sheet that is not at this bench"
		if ok {
			p.Sheet, checks = sheet.Sheet.Name, sheet.Sheet.Checks
		}
	}
	for _, row := range sheets.Hold(checks, inOrderOfDays(readingsBefore(v, e)), t.Checks, events.AsLeft) {
		p.check(row)
	}
	for _, o := range sheets.StillOver(inOrderOfDays(readingsOf(h, v.ID)), checks) {
		p.Over = append(p.Over, o.Point+": "+o.Why)
	}
	return p, nil
}

func (p *PastTest) check(r sheets.Row) {
	row := rowOf(r, events.AsLeft)
	c := PastCheck{Number: r.Number, Label: row.Label, Point: row.Point, Limits: row.Limits, Reading: row.Reading, Result: row.Result, Why: row.Why, Off: row.Off,
		LeftOut: r.LeftOut, Despite: r.Despite}
	if r.Made() {
		p.Made++
		if r.Good() {
			p.Within++
		}
	}
	p.Checks = append(p.Checks, c)
}

// readingsBefore are a visit's readings that were written down before a test, or
// with it.
func readingsBefore(v *projections.Visit, test projections.Entry) []dated {
	return slices.DeleteFunc(readingsIn(v), func(r dated) bool { return r.id.Compare(test.ID) > 0 })
}

// Said is what came of a check, in words.
func (c PastCheck) Said() string {
	var parts []string
	switch {
	case c.Reading == "" && c.LeftOut != "":
		parts = append(parts, "left out, "+c.LeftOut)
	case c.Reading == "":
		parts = append(parts, "not made")
	case c.Result == "within":
		parts = append(parts, "within")
	case c.Off:
		parts = append(parts, c.Why)
	case c.Limits == "":
		parts = append(parts, "no limits")
	default:
		parts = append(parts, "not judged: "+c.Why)
	}
	if c.Despite != "" {
		parts = append(parts, "passed despite: "+c.Despite)
	}
	return strings.Join(parts, "; ")
}
