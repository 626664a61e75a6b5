package events

// FaultFound is a state of the unit that explains, or helps to explain, what
// the owner noticed. Symptom, fault and cause are kept apart, as IEC 60050-192
// does: what was noticed, what is wrong, why it went wrong.
type FaultFound struct {
	Symptom    string `cbor:"1,keyasint,omitempty"`
	Component  string `cbor:"2,keyasint,omitempty"` // component class, id of package trade's table
	Designator string `cbor:"3,keyasint,omitempty"` // such as "C14" or "C1/C2"
	Mode       string `cbor:"4,keyasint,omitempty"` // failure mode, id of package trade's table
	Cause      string `cbor:"5,keyasint,omitempty"`
	Sure       string `cbor:"6,keyasint,omitempty"` // "certain", "likely", "suspected"; empty is certain
	Text       string `cbor:"7,keyasint,omitempty"` // as typed
}

// Kind is KindFaultFound.
func (FaultFound) Kind() Kind { return KindFaultFound }

// Validate wants a component or words.
func (b FaultFound) Validate() error {
	return firstOf(
		clause(b.Component != "" || b.Text != "", "fault: no component and no words"),
		clause(b.Mode == "" || b.Component != "", "fault: a failure mode without a component"),
		tableID("fault: component", b.Component), tableID("fault: failure mode", b.Mode), word("fault: designator", b.Designator),
		oneOf("fault: how sure", b.Sure, "", "certain", "likely", "suspected"),
		text("fault: symptom", b.Symptom), text("fault: cause", b.Cause), text("fault: text", b.Text),
	)
}

// Line is the event's line in a history.
func (b FaultFound) Line() string {
	what := phrase(joined(b.Designator, spoken(b.Component), spoken(b.Mode)), quoted(b.Text), named("cause", b.Cause))
	return choose(b.Sure != "" && b.Sure != "certain", b.Sure+" fault: ", "fault: ") + what
}

// NoFaultFound closes a diagnosis that found nothing wrong.
type NoFaultFound struct {
	Text string `cbor:"1,keyasint,omitempty"` // what was tried
}

// Kind is KindNoFaultFound.
func (NoFaultFound) Kind() Kind { return KindNoFaultFound }

// Validate limits the text.
func (b NoFaultFound) Validate() error { return text("no fault found: text", b.Text) }

// Line is the event's line in a history.
func (b NoFaultFound) Line() string { return "no fault found" + choose(b.Text != "", ": "+b.Text, "") }
