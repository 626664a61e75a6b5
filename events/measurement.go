package events

import (
	"strconv"
	"strings"
)

// ReadingTaken is one reading of one quantity at one point of a unit. The
// number is kept as typed beside its exact value.
type ReadingTaken struct {
	Point      string   `cbor:"1,keyasint"`           // where, such as "AM" or "tuner out L"
	Measure    string   `cbor:"2,keyasint,omitempty"` // id of package measure's table
	Text       string   `cbor:"3,keyasint"`           // as typed
	Value      Quantity `cbor:"4,keyasint,omitzero"`  // as read; zero where the text is not a number
	Stage      string   `cbor:"5,keyasint,omitempty"` // "as found", "as left"; empty is not said
	Instrument string   `cbor:"6,keyasint,omitempty"`
	Limits     string   `cbor:"7,keyasint,omitempty"` // the limits used, as typed
	Conditions string   `cbor:"8,keyasint,omitempty"`
	// Network is what stood between the set and the meter while a leakage was
	// read, by the id of package measure's table; empty is not said.
	Network   string `cbor:"9,keyasint,omitempty"`
	Amplitude string `cbor:"10,keyasint,omitempty"` // "rms", "peak"; empty is not said
}

// AsFound and AsLeft are the stages of a reading.
const (
	AsFound = "as found"
	AsLeft  = "as left"
)

// RMS and Peak are what a reading of something that alternates can be. One for
// the other is wrong by a factor of 1.414.
const (
	RMS  = "rms"
	Peak = "peak"
)

// Kind is KindReadingTaken.
func (ReadingTaken) Kind() Kind { return KindReadingTaken }

// Validate wants a point and a reading.
func (b ReadingTaken) Validate() error {
	return firstOf(
		clause(b.Point != "", "reading: no point"), clause(b.Text != "", "reading: nothing read"),
		word("reading: point", b.Point), tableID("reading: measure", b.Measure), word("reading: text", b.Text),
		quantity("reading", b.Value), word("reading: instrument", b.Instrument), word("reading: limits", b.Limits),
		text("reading: conditions", b.Conditions), oneOf("reading: stage", b.Stage, "", AsFound, AsLeft),
		tableID("reading: network", b.Network), oneOf("reading: amplitude", b.Amplitude, "", RMS, Peak),
	)
}

// Line is the event's line in a history.
func (b ReadingTaken) Line() string {
	return phrase(joined(b.Point, b.Text, b.Amplitude), named("over the network", b.Network), b.Stage, named("limits", b.Limits), named("with", b.Instrument), b.Conditions)
}

// FinalTest is the verdict of a unit's test before it ships. It records what
// was seen on the bench; it does not declare a set safe.
type FinalTest struct {
	Sheet   EventID `cbor:"1,keyasint,omitzero"`  // the TestSheetDefined it followed, if one
	Verdict string  `cbor:"2,keyasint"`           // "passed", "failed", "not finished"
	LeftOut string  `cbor:"3,keyasint,omitempty"` // checks not made, and why
	Text    string  `cbor:"4,keyasint,omitempty"`
	// Checks are those of the sheet of which something is said. What was read is
	// not repeated here: it stands in the visit's readings, by the check's point.
	Checks []CheckNote `cbor:"5,keyasint,omitempty"`
}

// CheckNote says why a check of the sheet was left out, or why the set passed
// although the check failed.
type CheckNote struct {
	Number  int    `cbor:"1,keyasint"` // of the check in its sheet, from 1
	LeftOut string `cbor:"2,keyasint,omitempty"`
	Despite string `cbor:"3,keyasint,omitempty"`
}

// Passed, Failed and NotFinished are the verdicts.
const (
	Passed      = "passed"
	Failed      = "failed"
	NotFinished = "not finished"
)

// Kind is KindFinalTest.
func (FinalTest) Kind() Kind { return KindFinalTest }

// Validate wants a verdict, and of checks the sheet that they are of, rising
// numbers and one thing said of each.
func (b FinalTest) Validate() error {
	err := firstOf(
		clause(b.Verdict != "", "final test: no verdict"),
		oneOf("final test: verdict", b.Verdict, Passed, Failed, NotFinished),
		text("final test: left out", b.LeftOut), text("final test: text", b.Text),
		list("final test: checks", len(b.Checks)), clause(len(b.Checks) == 0 || !b.Sheet.IsZero(), "final test: checks of no sheet"),
	)
	last := 0
	for _, c := range b.Checks {
		err = firstOf(err, clause(c.Number > last && c.Number <= MaxList, "final test: check %d behind check %d", c.Number, last),
			clause((c.LeftOut == "") != (c.Despite == ""), "final test: check %d is left out or passed despite, one of them", c.Number),
			word("final test: check left out", c.LeftOut), word("final test: check despite", c.Despite))
		last = c.Number
	}
	return err
}

// Line is the event's line in a history.
func (b FinalTest) Line() string {
	leftOut, despite := b.LeftOut, ""
	for _, c := range b.Checks {
		leftOut = joinedBy("; ", leftOut, named("check "+strconv.Itoa(c.Number)+":", c.LeftOut))
		despite = joinedBy("; ", despite, named("check "+strconv.Itoa(c.Number)+":", c.Despite))
	}
	return "final test " + phrase(b.Verdict, b.Text, named("left out", leftOut), named("despite", despite))
}

// joinedBy joins what is not empty with a sign.
func joinedBy(sign string, parts ...string) string { return strings.Join(present(parts), sign) }
