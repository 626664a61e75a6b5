package events

import (
	"fmt"
	"strings"
)

// Received opens a visit: a unit came in, with what it claims to be.
type Received struct {
	Maker       string   `cbor:"1,keyasint,omitempty"`
	Model       string   `cbor:"2,keyasint,omitempty"`
	Serial      string   `cbor:"3,keyasint,omitempty"` // as typed
	YearFrom    int      `cbor:"4,keyasint,omitempty"` // year made, earliest; 0 unknown
	YearTo      int      `cbor:"5,keyasint,omitempty"` // year made, latest
	KindOfSet   string   `cbor:"6,keyasint,omitempty"` // id of package trade's table
	Tag         string   `cbor:"7,keyasint,omitempty"` // digits with check digit, only where the unit gets one
	Complaint   string   `cbor:"8,keyasint,omitempty"` // in the owner's words
	Condition   string   `cbor:"9,keyasint,omitempty"`
	Accessories string   `cbor:"10,keyasint,omitempty"`
	Carrier     string   `cbor:"11,keyasint,omitempty"`
	Person      PersonID `cbor:"12,keyasint,omitzero"`
}

// Kind is KindReceived.
func (Received) Kind() Kind { return KindReceived }

// Validate wants something that names the unit and a year range in order.
func (b Received) Validate() error {
	return firstOf(
		clause(b.Maker != "" || b.Model != "" || b.Serial != "" || b.KindOfSet != "", "received: no maker, model, serial or kind of set"),
		word("received: maker", b.Maker), word("received: model", b.Model), word("received: serial", b.Serial),
		tableID("received: kind of set", b.KindOfSet), years("received", b.YearFrom, b.YearTo),
		clause(allDigits(b.Tag) && len(b.Tag) <= MaxTag, "received: tag %q is not digits", b.Tag),
		text("received: complaint", b.Complaint), text("received: condition", b.Condition),
		text("received: accessories", b.Accessories), word("received: carrier", b.Carrier),
	)
}

// Line is the event's line in a history.
func (b Received) Line() string {
	return "received: " + orElse(phrase(quoted(b.Complaint), b.Condition, with(b.Accessories), by(b.Carrier)), "no complaint given")
}

// Identified says what a unit is, with the evidence for it.
type Identified struct {
	Maker     string     `cbor:"1,keyasint,omitempty"` // an empty field says nothing
	Model     string     `cbor:"2,keyasint,omitempty"`
	Serial    string     `cbor:"3,keyasint,omitempty"`
	YearFrom  int        `cbor:"4,keyasint,omitempty"`
	YearTo    int        `cbor:"5,keyasint,omitempty"`
	KindOfSet string     `cbor:"6,keyasint,omitempty"`
	Evidence  []Evidence `cbor:"7,keyasint,omitempty"`
}

// Evidence is one reason for an identification.
type Evidence struct {
	What string `cbor:"1,keyasint"`           // such as "date code", "label", "schematic"
	Text string `cbor:"2,keyasint"`           // as read, such as "274-6342"
	Part string `cbor:"3,keyasint,omitempty"` // the designator it stands on
}

// Kind is KindIdentified.
func (Identified) Kind() Kind { return KindIdentified }

// Validate wants at least one thing said.
func (b Identified) Validate() error {
	err := firstOf(
		clause(b.Maker != "" || b.Model != "" || b.Serial != "" || b.KindOfSet != "" || b.YearFrom != 0, "identified: says nothing"),
		word("identified: maker", b.Maker), word("identified: model", b.Model), word("identified: serial", b.Serial),
		tableID("identified: kind of set", b.KindOfSet), years("identified", b.YearFrom, b.YearTo),
		list("identified: evidence", len(b.Evidence)),
	)
	for _, e := range b.Evidence {
		err = firstOf(err,
			clause(e.What != "" && e.Text != "", "identified: evidence without its kind or its text"),
			word("identified: evidence", e.What), text("identified: evidence", e.Text), word("identified: evidence part", e.Part))
	}
	return err
}

// Line is the event's line in a history.
func (b Identified) Line() string {
	s := "identified: " + phrase(strings.TrimSpace(b.Maker+" "+b.Model), named("serial", b.Serial), named("made", YearsText(b.YearFrom, b.YearTo)), spoken(b.KindOfSet))
	for i, e := range b.Evidence {
		s += choose(i == 0, "; by ", ", ") + strings.TrimSpace(e.What+" "+e.Text) + choose(e.Part != "", " on "+e.Part, "")
	}
	return s
}

// SameUnit joins the event's unit with another: they are one physical set.
type SameUnit struct {
	Other UnitID `cbor:"1,keyasint"`
	Why   string `cbor:"2,keyasint,omitempty"`
}

// Kind is KindSameUnit.
func (SameUnit) Kind() Kind { return KindSameUnit }

// Validate wants the other unit.
func (b SameUnit) Validate() error {
	return firstOf(clause(!b.Other.IsZero(), "same unit: no other unit"), text("same unit: why", b.Why))
}

// Line is the event's line in a history.
func (b SameUnit) Line() string {
	return "same unit as " + b.Other.String() + choose(b.Why != "", ": "+b.Why, "")
}

// NotSameUnit parts the event's unit from another. It undoes the joins that
// its writer saw; one it did not see stands beside it until a person settles
// the two.
type NotSameUnit struct {
	Other  UnitID    `cbor:"1,keyasint"`
	Undoes []EventID `cbor:"2,keyasint,omitempty"` // SameUnit events
	Why    string    `cbor:"3,keyasint,omitempty"`
}

// Kind is KindNotSameUnit.
func (NotSameUnit) Kind() Kind { return KindNotSameUnit }

// Validate wants the other unit.
func (b NotSameUnit) Validate() error {
	return firstOf(clause(!b.Other.IsZero(), "not the same unit: no other unit"),
		list("not the same unit: undoes", len(b.Undoes)), text("not the same unit: why", b.Why))
}

// Line is the event's line in a history.
func (b NotSameUnit) Line() string {
	return "not the same unit as " + b.Other.String() + choose(b.Why != "", ": "+b.Why, "")
}

// YearsText is a year made, or a range of years, or nothing.
func YearsText(from, to int) string {
	switch {
	case from == 0:
		return ""
	case to == 0 || to == from:
		return fmt.Sprint(from)
	}
	return fmt.Sprintf("%d to %d", from, to)
}
