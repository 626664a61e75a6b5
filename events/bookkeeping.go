package events

import "fmt"

// Corrected replaces facts by a better one. It names every id it replaces that
// its writer saw; two corrections that did not see each other both stand until
// a person settles them.
type Corrected struct {
	Replaces []EventID `cbor:"1,keyasint"`
	Fact     Fact      `cbor:"2,keyasint"`
	Why      string    `cbor:"3,keyasint,omitempty"`
}

// Fact is an event inside a correction.
type Fact struct {
	Kind    Kind    `cbor:"1,keyasint"`
	Version uint    `cbor:"2,keyasint,omitempty"`
	At      When    `cbor:"3,keyasint,omitzero"`
	By      string  `cbor:"4,keyasint,omitempty"`
	Visit   VisitID `cbor:"5,keyasint,omitzero"`
	Body    RawBody `cbor:"6,keyasint"`
}

// Kind is KindCorrected.
func (Corrected) Kind() Kind { return KindCorrected }

// Validate wants ids to replace and a fact that is itself valid, as far as it
// can be read, and of a kind that a correction may hold.
func (b Corrected) Validate() error {
	err := firstOf(
		clause(len(b.Replaces) > 0, "corrected: replaces nothing"), list("corrected: replaces", len(b.Replaces)),
		clause(b.Fact.Kind != 0 && len(b.Fact.Body) > 0, "corrected: no fact"), b.Fact.At.Validate(),
		word("corrected: by", b.Fact.By), text("corrected: why", b.Why),
		clause(!b.Fact.Kind.bookkeeping() && !b.Fact.Kind.Joins(), "corrected: %s is withdrawn and said anew, not corrected", b.Fact.Kind),
	)
	if err != nil {
		return err
	}
	if err := checkBody(b.Fact.Body); err != nil {
		return &Invalid{"corrected: " + err.Error()}
	}
	body, err := DecodeBody(b.Fact.Kind, b.Fact.Version, b.Fact.Body)
	if isUnread(err) {
		return nil
	}
	if err != nil {
		return &Invalid{"corrected: " + err.Error()}
	}
	return body.Validate()
}

// Line is the event's line in a history.
func (b Corrected) Line() string {
	return phrase("corrected to "+Line(b.Fact.Kind, b.Fact.Version, b.Fact.Body), b.Why)
}

// Withdrawn takes facts back: they were never so.
type Withdrawn struct {
	Withdraws []EventID `cbor:"1,keyasint"`
	Why       string    `cbor:"2,keyasint,omitempty"`
}

// Kind is KindWithdrawn.
func (Withdrawn) Kind() Kind { return KindWithdrawn }

// Validate wants ids to take back.
func (b Withdrawn) Validate() error {
	return firstOf(clause(len(b.Withdraws) > 0, "withdrawn: nothing"), list("withdrawn", len(b.Withdraws)), text("withdrawn: why", b.Why))
}

// Line is the event's line in a history.
func (b Withdrawn) Line() string {
	return phrase("withdrawn "+Count(len(b.Withdraws), "entry", "entries"), b.Why)
}

// Settled ends a conflict: of the versions it names, one is kept.
type Settled struct {
	Settles []EventID `cbor:"1,keyasint"`
	Keep    EventID   `cbor:"2,keyasint"`
	Why     string    `cbor:"3,keyasint,omitempty"`
}

// Kind is KindSettled.
func (Settled) Kind() Kind { return KindSettled }

// Validate wants at least two versions and one of them kept.
func (b Settled) Validate() error {
	kept := false
	for _, id := range b.Settles {
		kept = kept || id == b.Keep
	}
	return firstOf(
		clause(len(b.Settles) >= 2, "settled: fewer than two versions"), list("settled", len(b.Settles)),
		clause(kept, "settled: what is kept is not among what is settled"), text("settled: why", b.Why),
	)
}

// Line is the event's line in a history.
func (b Settled) Line() string { return phrase("conflict settled", b.Why) }

// PersonRecorded holds a customer's name and address, sealed with that
// person's key. The event's subject is the person.
type PersonRecorded struct {
	Sealed []byte `cbor:"1,keyasint"`
}

// Kind is KindPersonRecorded.
func (PersonRecorded) Kind() Kind { return KindPersonRecorded }

// Validate wants something sealed.
func (b PersonRecorded) Validate() error {
	return firstOf(clause(len(b.Sealed) >= sealOverhead, "person: nothing sealed"), clause(len(b.Sealed) <= MaxText, "person: %d bytes", len(b.Sealed)))
}

// Line is the event's line in a history.
func (PersonRecorded) Line() string { return "person recorded" }

// PersonForgotten orders every bench to drop a person's key. It counts only
// with the owner's signature over ForgetStatement.
type PersonForgotten struct {
	Signature []byte `cbor:"1,keyasint"`
}

// Kind is KindPersonForgotten.
func (PersonForgotten) Kind() Kind { return KindPersonForgotten }

// Validate wants a signature.
func (b PersonForgotten) Validate() error {
	return clause(len(b.Signature) == signatureSize, "person forgotten: signature of %d bytes", len(b.Signature))
}

// Line is the event's line in a history.
func (PersonForgotten) Line() string { return "person forgotten" }

// RowImported says from which row of which file a visit was taken, so that the
// same row is never taken twice.
type RowImported struct {
	Source Hash              `cbor:"1,keyasint"` // SHA-256 of the file
	Row    int               `cbor:"2,keyasint"` // 1 is the heading
	Key    RowKey            `cbor:"3,keyasint"` // of the row's content
	Format string            `cbor:"4,keyasint"` // "book" or "ords"
	Kept   map[string]string `cbor:"5,keyasint,omitempty"`
}

// Kind is KindRowImported.
func (RowImported) Kind() Kind { return KindRowImported }

// Validate wants a row of a file.
func (b RowImported) Validate() error {
	err := firstOf(
		clause(b.Source != Hash{}, "row imported: no file"), clause(b.Row >= 1, "row imported: row %d", b.Row),
		clause(b.Key != RowKey{}, "row imported: no key"), oneOf("row imported: format", b.Format, "book", "ords"),
		list("row imported: kept", len(b.Kept)),
	)
	for k, v := range b.Kept {
		err = firstOf(err, clause(k != "", "row imported: a column without a name"), word("row imported: column", k), text("row imported: "+k, v))
	}
	return err
}

// Line is the event's line in a history.
func (b RowImported) Line() string { return fmt.Sprintf("from row %d of an old book", b.Row) }
