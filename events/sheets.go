package events

// TestSheetDefined is an ordered list of checks for a model or a kind of set.
// One that is defined later for the same under the same name stands in its
// place; a test names the very definition it followed.
type TestSheetDefined struct {
	Name      string  `cbor:"1,keyasint"`
	KindOfSet string  `cbor:"2,keyasint,omitempty"`
	Maker     string  `cbor:"3,keyasint,omitempty"`
	Model     string  `cbor:"4,keyasint,omitempty"`
	Checks    []Check `cbor:"5,keyasint"`
}

// Check is one line of a test sheet. One without a point is read at what its
// label says. One with a measure of yes or no is made when the answer is yes.
type Check struct {
	Label      string `cbor:"1,keyasint"`
	Point      string `cbor:"2,keyasint,omitempty"`
	Measure    string `cbor:"3,keyasint,omitempty"` // id of package measure's table
	Low        string `cbor:"4,keyasint,omitempty"` // as typed, with its unit
	High       string `cbor:"5,keyasint,omitempty"`
	Beside     string `cbor:"6,keyasint,omitempty"` // the point the limits are relative to
	Conditions string `cbor:"7,keyasint,omitempty"`
	Instrument string `cbor:"8,keyasint,omitempty"`
	Stage      string `cbor:"9,keyasint,omitempty"`  // "as found", "as left"; empty is that of the test
	OnlyWhere  string `cbor:"10,keyasint,omitempty"` // what a set must have for the check to be made; empty is every set
	Source     string `cbor:"11,keyasint,omitempty"` // where the limits come from
}

// Kind is KindTestSheetDefined.
func (TestSheetDefined) Kind() Kind { return KindTestSheetDefined }

// Validate wants a name and checks with labels.
func (b TestSheetDefined) Validate() error {
	err := firstOf(
		clause(b.Name != "", "test sheet: no name"), word("test sheet: name", b.Name), tableID("test sheet: kind of set", b.KindOfSet),
		word("test sheet: maker", b.Maker), word("test sheet: model", b.Model),
		clause(len(b.Checks) > 0, "test sheet: no checks"), list("test sheet: checks", len(b.Checks)),
	)
	for _, c := range b.Checks {
		err = firstOf(err, clause(c.Label != "", "test sheet: a check without a label"),
			word("test sheet: label", c.Label), word("test sheet: point", c.Point), tableID("test sheet: measure", c.Measure),
			word("test sheet: low", c.Low), word("test sheet: high", c.High), word("test sheet: beside", c.Beside),
			text("test sheet: conditions", c.Conditions), word("test sheet: instrument", c.Instrument),
			oneOf("test sheet: stage", c.Stage, "", AsFound, AsLeft), word("test sheet: only where", c.OnlyWhere), word("test sheet: source", c.Source))
	}
	return err
}

// Line is the event's line in a history.
func (b TestSheetDefined) Line() string {
	return "test sheet " + b.Name + " with " + Count(len(b.Checks), "check")
}

// InstrumentRecorded is a meter or generator of the shop.
type InstrumentRecorded struct {
	Name       string `cbor:"1,keyasint"`
	Maker      string `cbor:"2,keyasint,omitempty"`
	Model      string `cbor:"3,keyasint,omitempty"`
	Serial     string `cbor:"4,keyasint,omitempty"`
	Calibrated When   `cbor:"5,keyasint,omitzero"`
}

// Kind is KindInstrumentRecorded.
func (InstrumentRecorded) Kind() Kind { return KindInstrumentRecorded }

// Validate wants a name.
func (b InstrumentRecorded) Validate() error {
	return firstOf(clause(b.Name != "", "instrument: no name"), word("instrument: name", b.Name), word("instrument: maker", b.Maker),
		word("instrument: model", b.Model), word("instrument: serial", b.Serial), b.Calibrated.Validate())
}

// Line is the event's line in a history.
func (b InstrumentRecorded) Line() string {
	return "instrument " + phrase(b.Name, joined(b.Maker, b.Model), named("serial", b.Serial))
}

// TermAdded extends a table of trade words by one row.
type TermAdded struct {
	Table string `cbor:"1,keyasint"` // "component", "failure mode", "cause", "work", "kind of set", "outcome"
	ID    string `cbor:"2,keyasint"`
	Name  string `cbor:"3,keyasint"`
}

// Kind is KindTermAdded.
func (TermAdded) Kind() Kind { return KindTermAdded }

// Validate wants a table that is there, an id and a name.
func (b TermAdded) Validate() error {
	return firstOf(
		oneOf("term: table", b.Table, "component", "failure mode", "cause", "work", "kind of set", "outcome"),
		clause(b.ID != "", "term: no id"), tableID("term: id", b.ID), clause(b.Name != "", "term: no name"), word("term: name", b.Name),
	)
}

// Line is the event's line in a history.
func (b TermAdded) Line() string { return "word added to " + b.Table + ": " + b.Name }

// ShopDay says that the shop is closed on a working day, or works on one that
// is none, which counts where working days are counted.
type ShopDay struct {
	Day  Day    `cbor:"1,keyasint,omitempty"`
	Open bool   `cbor:"2,keyasint,omitempty"`
	Why  string `cbor:"3,keyasint,omitempty"`
}

// Kind is KindShopDay.
func (ShopDay) Kind() Kind { return KindShopDay }

// Validate wants a day that can be.
func (b ShopDay) Validate() error {
	return firstOf(clause(b.Day >= minDay && b.Day <= maxDay, "shop day: %s is not between %s and %s", b.Day, minDay, maxDay), word("shop day: why", b.Why))
}

// Line is the event's line in a history.
func (b ShopDay) Line() string {
	return phrase(choose(b.Open, "the shop works on ", "the shop is closed on ")+b.Day.String(), b.Why)
}
