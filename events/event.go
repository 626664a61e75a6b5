package events

import "fmt"

// Event is a fact in its place: where it stands on its feed, its hash, and the
// bytes it was received in. Those bytes are what is hashed, kept and
// forwarded; the rest is read from them.
type Event struct {
	Envelope
	Feed   FeedID
	Seq    uint64 // from 1, without holes
	Hash   Hash
	Record []byte
	body   RawBody // the tail of Record
	prev   Hash    // of the event before it, where linked
	linked bool    // the hash was computed behind that one, from these bytes
}

// Follows reports whether the event was linked behind exactly this head, so
// that its hash need not be computed again.
func (e Event) Follows(h Head) bool {
	return e.linked && e.Feed == h.Feed && e.Seq == h.Seq+1 && e.prev == h.Hash
}

// Before is the head that the event was linked behind, and whether it was: one
// that Trusted gave was not.
func (e Event) Before() (Head, bool) {
	if !e.linked {
		return Head{}, false
	}
	return Head{e.Feed, e.Seq - 1, e.prev}, true
}

// RawBody is the body's bytes.
func (e Event) RawBody() RawBody { return e.body }

// Body reads the body. It gives ErrUnread where only a newer program can.
func (e Event) Body() (Body, error) { return DecodeBody(e.Kind, e.Version, e.body) }

// Newer reports whether only a newer program can read the body.
func (e Event) Newer() bool { return newer(e.Kind, e.Version) }

// Line is the event's line in a history.
func (e Event) Line() string { return Line(e.Kind, e.Version, e.body) }

// OtherUnit is the second unit of a join or a parting that can be read.
func (e Event) OtherUnit() (UnitID, bool) {
	if !e.Kind.Joins() {
		return UnitID{}, false
	}
	body, _ := e.Body() // nil where it can't be read
	switch b := body.(type) {
	case SameUnit:
		return b.Other, !b.Other.IsZero()
	case NotSameUnit:
		return b.Other, !b.Other.IsZero()
	}
	return UnitID{}, false
}

// Draft is an event that has no place yet.
type Draft struct {
	About [16]byte // zero for the shop, and for the intake that names a new unit
	Visit VisitID
	At    When
	By    string
	Body  Body
}

// Validate refuses a draft that breaks a rule of its kind or of every event.
func (d Draft) Validate() error {
	if d.Body == nil {
		return &Invalid{"event without a body"}
	}
	r, ok := FindKind(d.Body.Kind())
	if !ok {
		return fmt.Errorf("%s: %w", d.Body.Kind(), ErrUnread)
	}
	none := d.About == [16]byte{}
	return firstOf(
		d.At.Validate(), word("by", d.By),
		clause(r.Subject == OfUnit || d.Visit.IsZero(), "%s: belongs to no visit", r.Name),
		clause(r.Subject == OfUnit || r.Subject == OfPerson || none, "%s: is about the shop only", r.Name),
		clause(r.Subject != OfPerson || !none, "%s: about nobody", r.Name),
		clause(r.Subject != OfUnit || !none || namesUnit(r.Kind), "%s: about no unit", r.Name),
		d.Body.Validate(),
	)
}

// namesUnit reports whether an event of the kind can be a unit's first: only
// an intake or an identification says what a thing is.
func namesUnit(k Kind) bool { return k == KindReceived || k == KindIdentified }

// Make turns a draft into an envelope and a body under an id. An intake about
// nothing yet names a new unit by that id.
func (d Draft) Make(id EventID) (Envelope, RawBody, error) {
	if err := d.Validate(); err != nil {
		return Envelope{}, nil, err
	}
	body, err := EncodeBody(d.Body)
	if err != nil {
		return Envelope{}, nil, err
	}
	about := d.About
	if about == [16]byte{} && namesUnit(d.Body.Kind()) {
		about = id
	}
	return Envelope{ID: id, Kind: d.Body.Kind(), Version: 1, About: about, Visit: d.Visit, At: d.At, By: d.By}, body, nil
}
