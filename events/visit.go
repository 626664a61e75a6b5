package events

import "fmt"

// EstimateGiven is a price named to the owner.
type EstimateGiven struct {
	Amount   int64  `cbor:"1,keyasint,omitempty"` // minor units
	Currency string `cbor:"2,keyasint"`           // ISO 4217
	Text     string `cbor:"3,keyasint,omitempty"`
}

// Kind is KindEstimateGiven.
func (EstimateGiven) Kind() Kind { return KindEstimateGiven }

// Validate wants an amount of money.
func (b EstimateGiven) Validate() error {
	return firstOf(money("estimate", b.Amount, b.Currency), clause(b.Currency != "", "estimate: no currency"), text("estimate: text", b.Text))
}

// Line is the event's line in a history.
func (b EstimateGiven) Line() string {
	return "estimate given: " + phrase(MoneyText(b.Amount, b.Currency), b.Text)
}

// EstimateAnswered is what the owner said to an estimate.
type EstimateAnswered struct {
	Accepted bool   `cbor:"1,keyasint,omitempty"`
	Text     string `cbor:"2,keyasint,omitempty"`
}

// Kind is KindEstimateAnswered.
func (EstimateAnswered) Kind() Kind { return KindEstimateAnswered }

// Validate limits the text.
func (b EstimateAnswered) Validate() error { return text("estimate answered: text", b.Text) }

// Line is the event's line in a history.
func (b EstimateAnswered) Line() string {
	return phrase(choose(b.Accepted, "estimate accepted", "estimate declined"), b.Text)
}

// WaitingBegun stops the bench's clock: the unit waits for somebody.
type WaitingBegun struct {
	For  string `cbor:"1,keyasint"` // "owner", "parts", "donor", "payment"
	Text string `cbor:"2,keyasint,omitempty"`
}

// Waits are what a unit can wait for.
var Waits = []string{"owner", "parts", "donor", "payment"}

// Kind is KindWaitingBegun.
func (WaitingBegun) Kind() Kind { return KindWaitingBegun }

// Validate wants what is waited for.
func (b WaitingBegun) Validate() error {
	return firstOf(oneOf("waiting: for", b.For, Waits...), text("waiting: text", b.Text))
}

// Line is the event's line in a history.
func (b WaitingBegun) Line() string { return phrase("waiting for "+b.For, b.Text) }

// WaitingEnded puts the unit back on the bench.
type WaitingEnded struct {
	For  string `cbor:"1,keyasint,omitempty"` // empty ends every wait
	Text string `cbor:"2,keyasint,omitempty"`
}

// Kind is KindWaitingEnded.
func (WaitingEnded) Kind() Kind { return KindWaitingEnded }

// Validate wants a wait that can be.
func (b WaitingEnded) Validate() error {
	return firstOf(clause(b.For == "" || oneOf("", b.For, Waits...) == nil, "waiting ended: for %q", b.For), text("waiting ended: text", b.Text))
}

// Line is the event's line in a history.
func (b WaitingEnded) Line() string {
	return phrase(choose(b.For == "", "waiting ended", "waiting for "+b.For+" ended"), b.Text)
}

// Shipped closes a visit.
type Shipped struct {
	Outcome      string `cbor:"1,keyasint"` // id of package trade's table, such as "repaired"
	Carrier      string `cbor:"2,keyasint,omitempty"`
	WarrantyDays int    `cbor:"3,keyasint,omitempty"`
	Charge       int64  `cbor:"4,keyasint,omitempty"` // minor units
	Currency     string `cbor:"5,keyasint,omitempty"` // ISO 4217; empty with a charge of an old book that does not say
	Text         string `cbor:"6,keyasint,omitempty"`
}

// Kind is KindShipped.
func (Shipped) Kind() Kind { return KindShipped }

// Validate wants an outcome and a warranty that somebody can outlive.
func (b Shipped) Validate() error {
	return firstOf(
		clause(b.Outcome != "", "shipped: no outcome"), tableID("shipped: outcome", b.Outcome), word("shipped: carrier", b.Carrier),
		clause(b.WarrantyDays >= 0 && b.WarrantyDays <= MaxWarrantyDays, "shipped: warranty of %d days", b.WarrantyDays),
		money("shipped", b.Charge, b.Currency), text("shipped: text", b.Text),
	)
}

// Line is the event's line in a history.
func (b Shipped) Line() string {
	return "shipped, " + phrase(choose(b.Outcome == "unknown", "outcome not written down", spoken(b.Outcome)), by(b.Carrier), choose(b.Charge > 0, "charge "+MoneyText(b.Charge, b.Currency), ""),
		choose(b.WarrantyDays > 0, Count(b.WarrantyDays, "day")+" of warranty", ""), b.Text)
}

// Note is anything worth keeping.
type Note struct {
	Text string `cbor:"1,keyasint"`
}

// Kind is KindNote.
func (Note) Kind() Kind { return KindNote }

// Validate wants words.
func (b Note) Validate() error {
	return firstOf(clause(b.Text != "", "note: no text"), text("note", b.Text))
}

// Line is the event's line in a history.
func (b Note) Line() string { return "note: " + b.Text }

// EvidenceAttached names a photograph or recording kept beside the log.
type EvidenceAttached struct {
	Content Hash   `cbor:"1,keyasint"` // SHA-256 of the original file
	Name    string `cbor:"2,keyasint,omitempty"`
	Type    string `cbor:"3,keyasint"`           // media type, RFC 6838
	Size    int64  `cbor:"4,keyasint,omitempty"` // bytes
	Text    string `cbor:"5,keyasint,omitempty"`
}

// Kind is KindEvidenceAttached.
func (EvidenceAttached) Kind() Kind { return KindEvidenceAttached }

// Validate wants the hash and the type.
func (b EvidenceAttached) Validate() error {
	return firstOf(
		clause(b.Content != Hash{}, "evidence: no content hash"), clause(b.Type != "", "evidence: no media type"),
		word("evidence: type", b.Type), word("evidence: name", b.Name), text("evidence: text", b.Text),
		clause(b.Size >= 0, "evidence: size %d", b.Size),
	)
}

// Line is the event's line in a history. What has no name is told by its hash.
func (b EvidenceAttached) Line() string {
	return "attached: " + phrase(orElse(b.Name, b.Type), b.Text, choose(b.Name == "", b.Content.Short(), ""))
}

// MoneyText is an amount in minor units of two decimals with its currency.
func MoneyText(minor int64, currency string) string {
	sign := ""
	if minor < 0 {
		sign, minor = "-", -minor
	}
	s := fmt.Sprintf("%s%d.%02d", sign, minor/100, minor%100)
	if zeroDecimals[currency] {
		s = fmt.Sprintf("%s%d", sign, minor)
	}
	return joined(s, currency)
}

// zeroDecimals are currencies without minor units (ISO 4217) that an old book
// may hold.
var zeroDecimals = map[string]bool{"JPY": true, "KRW": true, "CLP": true, "ISK": true}
