package events

// PartReplaced says what came out of a unit and what went in.
type PartReplaced struct {
	Designator string  `cbor:"1,keyasint,omitempty"`
	Component  string  `cbor:"2,keyasint,omitempty"` // component class, id of package trade's table
	Out        Marking `cbor:"3,keyasint,omitzero"`
	In         Marking `cbor:"4,keyasint,omitzero"`
	DateCode   string  `cbor:"5,keyasint,omitempty"` // of the part that came out, as printed
	Reason     string  `cbor:"6,keyasint,omitempty"` // "failed", "preventive", "upgraded"; empty is not said
	Text       string  `cbor:"7,keyasint,omitempty"` // as typed
}

// Marking is a part's value as printed, and as read when it could be.
type Marking struct {
	Text     string     `cbor:"1,keyasint,omitempty"` // as typed
	Sections []Quantity `cbor:"2,keyasint,omitempty"` // one, or one a section of a multi-section capacitor
	Volts    int        `cbor:"3,keyasint,omitempty"` // voltage rating
}

// IsZero reports whether nothing is known of the part.
func (m Marking) IsZero() bool { return m.Text == "" && len(m.Sections) == 0 && m.Volts == 0 }

// Quantity is a number in a unit, exactly: Mant times ten to the Exp.
type Quantity struct {
	Mant int64  `cbor:"1,keyasint,omitempty"`
	Exp  int8   `cbor:"2,keyasint,omitempty"`
	Unit string `cbor:"3,keyasint,omitempty"` // UCUM code of the base unit, such as "F" or "Ohm"
}

// Kind is KindPartReplaced.
func (PartReplaced) Kind() Kind { return KindPartReplaced }

// Validate wants something that names the part.
func (b PartReplaced) Validate() error {
	return firstOf(
		clause(b.Designator != "" || b.Component != "" || b.Text != "" || !b.In.IsZero(), "part replaced: no part named"),
		word("part replaced: designator", b.Designator), tableID("part replaced: component", b.Component),
		marking("part replaced: out", b.Out), marking("part replaced: in", b.In),
		word("part replaced: date code", b.DateCode), text("part replaced: text", b.Text),
		oneOf("part replaced: reason", b.Reason, "", "failed", "preventive", "upgraded"),
	)
}

// Line is the event's line in a history.
func (b PartReplaced) Line() string {
	s := joined(b.Designator, spoken(b.Component))
	if b.Out.Text != "" {
		s = phrase(s, "out "+b.Out.Text)
	}
	if b.In.Text != "" {
		s = phrase(s, "in "+b.In.Text)
	}
	return "part replaced: " + phrase(orElse(s, b.Text), b.Reason, named("date code of the old part", b.DateCode))
}

// WorkDone is work on a unit other than replacing a part.
type WorkDone struct {
	Work       string `cbor:"1,keyasint"`           // id of package trade's table, such as "cleaned" or "realigned"
	Component  string `cbor:"2,keyasint,omitempty"` // on what
	Designator string `cbor:"3,keyasint,omitempty"`
	Minutes    int    `cbor:"4,keyasint,omitempty"` // bench time, where it was kept
	Text       string `cbor:"5,keyasint,omitempty"`
}

// Kind is KindWorkDone.
func (WorkDone) Kind() Kind { return KindWorkDone }

// Validate wants the work named and minutes that fit a month.
func (b WorkDone) Validate() error {
	return firstOf(
		clause(b.Work != "", "work: not named"), tableID("work", b.Work), tableID("work: component", b.Component),
		word("work: designator", b.Designator), text("work: text", b.Text),
		clause(b.Minutes >= 0 && b.Minutes <= 31*24*60, "work: %d minutes", b.Minutes),
	)
}

// Line is the event's line in a history.
func (b WorkDone) Line() string {
	return phrase(joined(spoken(b.Work), b.Designator, spoken(b.Component)), b.Text, choose(b.Minutes > 0, Count(b.Minutes, "minute"), ""))
}
