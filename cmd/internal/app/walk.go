package app

import (
	"crypto/rand"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/measure"
	"oldhand/events/sheets"
	"oldhand/projections"
)

// A final test by sheet, as the terminal and the page walk it. What is typed is
// kept as any form of the bench is (unsent.go) until the verdict, and then saved as
// one batch: the readings and the test. To save each reading as it is typed would
// write down what a hand goes back over a moment later, and leave half a test
// behind that nobody said is one; and kept like this, a walk that was begun in the
// terminal goes on at the page, and the other way round.

// TestForm is the name under which what is typed of a test is kept.
const TestForm = "sheet"

// SheetTest is a unit's final test by a sheet.
type SheetTest struct {
	Unit  string    `json:"unit"`
	Tag   string    `json:"tag,omitempty"`
	Name  string    `json:"name,omitempty"`
	Sheet *Sheet    `json:"sheet,omitempty"` // nil where there is none; not Own where the shop has to take it first
	Stage string    `json:"stage"`
	Rows  []TestRow `json:"checks"`
	Open  bool      `json:"open"` // it stands on a bench

	read []events.ReadingTaken // in the visit, so far
}

// TestRow is a check with what was typed of it, or read before, and how that
// stands to its limits.
type TestRow struct {
	Number     int    `json:"number"`
	Label      string `json:"label"`
	Point      string `json:"point"`
	Measure    string `json:"measure,omitempty"`
	YesNo      bool   `json:"yes_or_no,omitempty"`
	Limits     string `json:"limits,omitempty"`
	Source     string `json:"source,omitempty"`
	OnlyWhere  string `json:"only_where,omitempty"`
	Conditions string `json:"conditions,omitempty"`
	Instrument string `json:"instrument,omitempty"`
	Stage      string `json:"stage"`
	Usual      string `json:"usual,omitempty"`   // what this shop reads there, where it knows
	Before     string `json:"before,omitempty"`  // what was read in this visit already
	Reading    string `json:"reading,omitempty"` // that counts: typed, else read before
	Result     string `json:"result,omitempty"`  // within, below, above, no, not judged; empty where it was not made
	Why        string `json:"why,omitempty"`
	Off        bool   `json:"off,omitempty"`
	Needs      bool   `json:"needs_words,omitempty"` // to pass
	Words      string `json:"words,omitempty"`
	LeftOut    bool   `json:"left_out,omitempty"`
	Touch      bool   `json:"touch,omitempty"` // of what the set lets through to who touches it
	Caution    string `json:"caution,omitempty"`
}

// TestTyped is a test as it is typed.
type TestTyped struct {
	Sheet   string // its name or id; empty for the unit's
	Stage   string // empty is as left
	Checks  map[int]CheckTyped
	Verdict string // empty where only readings are to be saved
	LeftOut string
	Text    string
}

// CheckTyped is what was typed of a check. A reading of "-" or "none" leaves it
// out; of a check that only some sets have, that says why too.
type CheckTyped struct{ Reading, Words string }

func (c CheckTyped) leavesOut() bool {
	switch strings.ToLower(strings.TrimSpace(c.Reading)) {
	case "-", "none", "skip":
		return true
	}
	return false
}

// said is a reading as it is kept: y and n, which are one key, as the words.
func (c CheckTyped) said(of events.Check) string {
	text := strings.TrimSpace(c.Reading)
	if k, ok := measure.Find(of.Measure); ok && k.Quantity == measure.YesNo {
		switch strings.ToLower(text) {
		case "y":
			return "yes"
		case "n":
			return "no"
		}
	}
	return text
}

// SheetTest is the test of a unit as it stands with what was typed.
func (s *Shop) SheetTest(typed string, t TestTyped) (w SheetTest, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		w, err = s.sheetTest(v, h, t)
		return err
	})
	return w, err
}

func (s *Shop) sheetTest(r projections.Reader, h *projections.History, t TestTyped) (w SheetTest, err error) {
	w = SheetTest{Unit: h.Root.String(), Tag: firstTag(h), Name: nameOf(h.Maker, h.Model), Stage: orElse(t.Stage, events.AsLeft), Rows: []TestRow{}, Open: h.OpenVisit() != nil}
	if t.Sheet != "" {
		sheet, err := s.sheetNamed(r, t.Sheet)
		if err != nil {
			return w, err
		}
		w.Sheet = &sheet
	} else if w.Sheet, err = s.sheetForUnit(r, h); err != nil {
		return w, err
	}
	if w.Sheet == nil {
		return w, nil
	}
	if n := len(h.Visits); n > 0 {
		w.read = inOrderOfDays(readingsOf(h, h.Visits[n-1].ID))
	}
	return w, w.Hold(t)
}

// AddUsual says beside each check what other sets of the unit's model read there
// as they left.
func (s *Shop) AddUsual(w *SheetTest) error {
	for i := range w.Rows {
		r := &w.Rows[i]
		if r.YesNo {
			continue
		}
		n, found, err := s.Norm(w.Unit, r.Point, r.Measure)
		if err != nil {
			return err
		}
		if found {
			r.Usual = n.Words()
		}
	}
	return nil
}

// Hold puts what was typed beside the sheet, on what was read of the unit before.
func (w *SheetTest) Hold(t TestTyped) error {
	checks := w.Sheet.Sheet.Checks
	before := sheets.Hold(checks, w.read, nil, w.Stage)
	typed, err := t.readings(checks, w.Stage)
	if err != nil {
		return err
	}
	rows := sheets.Hold(checks, slices.Concat(w.read, typed), nil, w.Stage)
	notes := t.notes(rows)
	rows = sheets.Hold(checks, slices.Concat(w.read, typed), notes, w.Stage)
	lacks := sheets.Lacks(rows)
	had := w.Rows
	w.Rows = make([]TestRow, 0, len(rows))
	for i, r := range rows {
		row := rowOf(r, w.Stage)
		if i < len(had) {
			row.Usual = had[i].Usual
		}
		if before[i].Made() {
			row.Before = readingText(*before[i].Reading)
		}
		row.Words = t.Checks[r.Number].Words
		row.Needs = slices.ContainsFunc(lacks, func(l sheets.Lack) bool { return l.Number == r.Number })
		w.Rows = append(w.Rows, row)
	}
	return nil
}

func rowOf(r sheets.Row, stage string) TestRow {
	c := r.Check
	k, _ := measure.Find(c.Measure)
	row := TestRow{Number: r.Number, Label: c.Label, Point: sheets.Point(c), Measure: c.Measure, YesNo: k.Quantity == measure.YesNo && c.Measure != "",
		Limits: measure.LimitsText(c.Low, c.High, c.Beside), Source: c.Source, OnlyWhere: c.OnlyWhere, Conditions: c.Conditions, Instrument: c.Instrument,
		Stage: sheets.Stage(c, stage), LeftOut: r.LeftOut != "", Touch: sheets.Touch(c.Measure), Caution: CautionOf(events.ReadingTaken{Measure: c.Measure})}
	if r.Made() {
		row.Reading, row.Result, row.Why, row.Off = readingText(*r.Reading), r.Judged.Result.String(), r.Judged.Why, r.Judged.Off()
	}
	return row
}

// readings are what was typed as readings, in the order of the checks.
func (t TestTyped) readings(checks []events.Check, stage string) (list []events.ReadingTaken, err error) {
	for i, c := range checks {
		typed := t.Checks[i+1]
		if strings.TrimSpace(typed.Reading) == "" || typed.leavesOut() {
			continue
		}
		b := events.ReadingTaken{Point: sheets.Point(c), Measure: c.Measure, Text: typed.said(c), Stage: sheets.Stage(c, stage),
			Instrument: c.Instrument, Limits: measure.LimitsText(c.Low, c.High, c.Beside)}
		if b, _, err = Reading(b); err != nil {
			return nil, err
		}
		list = append(list, b)
	}
	return list, nil
}

// notes are the words that checks have: why one is left out, or why the set passes
// although it is off.
func (t TestTyped) notes(rows []sheets.Row) (notes []events.CheckNote) {
	for _, r := range rows {
		typed := t.Checks[r.Number]
		words := strings.TrimSpace(typed.Words)
		switch {
		case !r.Made() && words != "":
			notes = append(notes, events.CheckNote{Number: r.Number, LeftOut: words})
		case !r.Made() && typed.leavesOut() && r.Check.OnlyWhere != "":
			notes = append(notes, events.CheckNote{Number: r.Number, LeftOut: "there is none: " + r.Check.OnlyWhere})
		case r.Made() && words != "" && !r.Good():
			notes = append(notes, events.CheckNote{Number: r.Number, Despite: words})
		}
	}
	return notes
}

// SaveTest saves a test that was walked: its readings and its verdict at once, or
// the readings alone where no verdict was said. A set that has not passed is not
// said to have (NotPassed), and then nothing is saved.
func (s *Shop) SaveTest(typed string, who Who, t TestTyped) (Saved, error) {
	var unread []string
	saved, err := s.record(typed, who, func(tx *eventlog.Tx, h *projections.History) ([]events.Body, error) {
		w, err := s.sheetTest(tx, h, t)
		if err != nil {
			return nil, err
		}
		switch {
		case w.Sheet == nil:
			return nil, &NotHere{unitName(h), "has no test sheet: neither its model nor its kind of set has one"}
		case !w.Sheet.Own:
			return nil, &NotHere{"the sheet " + w.Sheet.Sheet.Name, fmt.Sprintf("comes with the program and is not the shop's yet; take it with: oldhand sheet take %q", w.Sheet.Sheet.Name)}
		}
		bodies, notes, err := t.bodies(w)
		unread = notes
		return bodies, err
	})
	saved.Notes = append(unread, saved.Notes...)
	return saved, err
}

// bodies are what a test saves, and what to look at.
func (t TestTyped) bodies(w SheetTest) (bodies []events.Body, look []string, err error) {
	checks := w.Sheet.Sheet.Checks
	read, err := t.readings(checks, w.Stage)
	if err != nil {
		return nil, nil, err
	}
	for _, r := range read {
		bodies = append(bodies, r)
		if r.Value.Unit == "" && r.Measure != "" {
			look = append(look, fmt.Sprintf("%s %s is kept as words and was not judged", r.Point, r.Text))
		}
	}
	if t.Verdict == "" {
		if len(bodies) == 0 {
			return nil, nil, &Wrong{"the test", "no reading and no verdict was typed"}
		}
		return bodies, look, nil
	}
	if w.Stage != events.AsLeft {
		return nil, nil, &Wrong{"verdict", "a final test is as left; save the readings " + w.Stage + " without a verdict"}
	}
	rows := sheets.Hold(checks, slices.Concat(w.read, read), nil, w.Stage)
	test := events.FinalTest{Sheet: w.Sheet.ID, Verdict: t.Verdict, LeftOut: strings.TrimSpace(t.LeftOut), Text: strings.TrimSpace(t.Text), Checks: t.notes(rows)}
	for _, r := range rows { // words of a check that needed none are kept as well
		if words := strings.TrimSpace(t.Checks[r.Number].Words); words != "" && r.Good() {
			test.Text = strings.TrimPrefix(test.Text+"; "+r.Check.Label+": "+words, "; ")
		}
	}
	return append(bodies, test), look, nil
}

// The names under which a test's fields are kept and sent.
const (
	readingField = "r"
	wordsField   = "w"
)

// Values are a test as the values of a form.
func (t TestTyped) Values() map[string][]string {
	v := map[string][]string{}
	set := func(name, value string) {
		if value != "" {
			v[name] = []string{value}
		}
	}
	set("was-sheet", t.Sheet) // what the form was drawn from, and not typed
	set("was-stage", t.Stage)
	set("verdict", t.Verdict)
	set("leftout", t.LeftOut)
	set("text", t.Text)
	for n, c := range t.Checks {
		set(readingField+strconv.Itoa(n), c.Reading)
		set(wordsField+strconv.Itoa(n), c.Words)
	}
	return v
}

// TestFrom is a test from the values of a form.
func TestFrom(v map[string][]string) TestTyped {
	get := func(name string) string { return strings.TrimSpace(strings.Join(v[name], " ")) }
	t := TestTyped{Sheet: get("was-sheet"), Stage: get("was-stage"), Verdict: get("verdict"), LeftOut: get("leftout"), Text: get("text"), Checks: map[int]CheckTyped{}}
	for name := range v {
		n, err := strconv.Atoi(strings.TrimLeft(name, readingField+wordsField))
		if err != nil || n < 1 || n > events.MaxList {
			continue
		}
		c := t.Checks[n]
		switch name {
		case readingField + strconv.Itoa(n):
			c.Reading = get(name)
		case wordsField + strconv.Itoa(n):
			c.Words = get(name)
		}
		t.Checks[n] = c
	}
	return t
}

// NewOnce is a fresh id for what is typed, which it will be saved under.
func NewOnce() string { return rand.Text() }

// KeptTest is the test of a unit that was begun and not saved, and the id that it
// will be saved under; ok is false where there is none.
func (s *Shop) KeptTest(unit string) (t TestTyped, once string, ok bool, err error) {
	u, err := s.UnsentOf(TestForm, unit)
	if err != nil || u == nil {
		return TestTyped{Checks: map[int]CheckTyped{}}, "", false, err
	}
	return TestFrom(u.Values), u.Once, true, nil
}
