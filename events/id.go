package events

import (
	"bytes"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"oldhand/events/hlc"

	"github.com/oklog/ulid/v2"
)

// EventID names one event of a shop and sorts all of them: a ULID whose time
// is the writing bench's hybrid logical clock, whose next 16 bits are that
// clock's counter, and whose last 64 bits are random.
type EventID ulid.ULID

// UnitID names a physical set: it is the id of the event that first named it.
type UnitID EventID

// VisitID names one stay of a unit in the shop: the id of its intake event.
type VisitID EventID

// PersonID names a customer. It is drawn at random, so it says nothing.
type PersonID [16]byte

// ShopID names a shop: the start of the hash of its founding statement.
type ShopID [16]byte

// BenchID is a laptop's public key (Ed25519, 32 bytes).
type BenchID [32]byte

// Incarnation is one run of a bench's log, drawn at random when it begins.
type Incarnation [16]byte

// FeedID names one run of one bench's log.
type FeedID struct {
	Bench       BenchID     `cbor:"1,keyasint"`
	Incarnation Incarnation `cbor:"2,keyasint"`
}

// RowKey stands for the content of a row of an imported file: the start of the
// SHA-256 of its cells.
type RowKey [16]byte

// Hash is the SHA-256 of an event in its place on its feed.
type Hash [sha256.Size]byte

// NewEventID makes the id of a stamp with eight random bytes.
func NewEventID(s hlc.Stamp, random [8]byte) EventID {
	var id ulid.ULID
	ms, n := s.Ms(), s.Counter()
	for i := range 6 {
		id[i] = byte(ms >> (40 - 8*i))
	}
	id[6], id[7] = byte(n>>8), byte(n)
	copy(id[8:], random[:])
	return EventID(id)
}

// Stamp is the clock stamp inside the id.
func (id EventID) Stamp() hlc.Stamp {
	return hlc.Join(ulid.ULID(id).Time(), uint16(id[6])<<8|uint16(id[7]))
}

func (id EventID) String() string { return ulid.ULID(id).String() }
func (id UnitID) String() string  { return ulid.ULID(id).String() }
func (id VisitID) String() string { return ulid.ULID(id).String() }

// IsZero reports whether the id names nothing.
func (id EventID) IsZero() bool { return id == EventID{} }

// IsZero reports whether the id names nothing.
func (id UnitID) IsZero() bool { return id == UnitID{} }

// IsZero reports whether the id names nothing.
func (id VisitID) IsZero() bool { return id == VisitID{} }

// IsZero reports whether the id names nobody.
func (id PersonID) IsZero() bool { return id == PersonID{} }

// Compare sorts ids by time of recording.
func (id EventID) Compare(o EventID) int { return bytes.Compare(id[:], o[:]) }

// Compare sorts units by when they were first named.
func (id UnitID) Compare(o UnitID) int { return bytes.Compare(id[:], o[:]) }

// Compare sorts feeds by bench, then by incarnation.
func (f FeedID) Compare(o FeedID) int {
	if c := bytes.Compare(f.Bench[:], o.Bench[:]); c != 0 {
		return c
	}
	return bytes.Compare(f.Incarnation[:], o.Incarnation[:])
}

// MarshalText gives the 26 characters of the ULID.
func (id EventID) MarshalText() ([]byte, error) { return ulid.ULID(id).MarshalText() }

// UnmarshalText reads the 26 characters of the ULID.
func (id *EventID) UnmarshalText(b []byte) error {
	u, err := ulid.ParseStrict(strings.ToUpper(string(b)))
	if err != nil {
		return fmt.Errorf("event id %q: %w", b, err)
	}
	*id = EventID(u)
	return nil
}

// MarshalText gives the 26 characters of the unit's first event's id.
func (id UnitID) MarshalText() ([]byte, error) { return EventID(id).MarshalText() }

// UnmarshalText reads the 26 characters of the unit's first event's id.
func (id *UnitID) UnmarshalText(b []byte) error { return (*EventID)(id).UnmarshalText(b) }

// base32Low is base 32 in lower case without padding: safe in a file name.
var base32Low = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

func (id PersonID) String() string { return base32Low.EncodeToString(id[:]) }
func (id ShopID) String() string   { return base32Low.EncodeToString(id[:]) }
func (id BenchID) String() string  { return base32Low.EncodeToString(id[:]) }
func (i Incarnation) String() string {
	return base32Low.EncodeToString(i[:])
}

// String is the bench and the incarnation, usable as a file name.
func (f FeedID) String() string { return f.Bench.String() + "-" + f.Incarnation.String() }

// Short is enough of the feed's name to tell a shop's feeds apart by eye.
func (f FeedID) Short() string { return f.Bench.String()[:6] + "-" + f.Incarnation.String()[:6] }

// MarshalText gives the feed's whole name.
func (f FeedID) MarshalText() ([]byte, error) { return []byte(f.String()), nil }

// UnmarshalText reads a feed's whole name.
func (f *FeedID) UnmarshalText(b []byte) error {
	bench, run, ok := strings.Cut(string(b), "-")
	if !ok {
		return fmt.Errorf("feed %q: no dash between bench and run", b)
	}
	if err := decodeInto(f.Bench[:], bench); err != nil {
		return fmt.Errorf("feed %q: bench: %w", b, err)
	}
	if err := decodeInto(f.Incarnation[:], run); err != nil {
		return fmt.Errorf("feed %q: run: %w", b, err)
	}
	return nil
}

// ParseShopID reads a shop's name as String writes it.
func ParseShopID(s string) (id ShopID, err error) {
	if err := decodeInto(id[:], s); err != nil {
		return ShopID{}, fmt.Errorf("shop %q: %w", s, err)
	}
	return id, nil
}

// ParsePersonID reads a person's id as String writes it.
func ParsePersonID(s string) (id PersonID, err error) {
	if err := decodeInto(id[:], s); err != nil {
		return PersonID{}, fmt.Errorf("person %q: %w", s, err)
	}
	return id, nil
}

func decodeInto(dst []byte, s string) error {
	b, err := base32Low.DecodeString(s)
	if err != nil {
		return err
	}
	if len(b) != len(dst) {
		return fmt.Errorf("%d bytes, want %d", len(b), len(dst))
	}
	if base32Low.EncodeToString(b) != s { // the decoder passes over ends of lines and the last letter's spare bits
		return errors.New("not spelt as a name is")
	}
	copy(dst, b)
	return nil
}

func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// Short is the first eight hexadecimal digits, for messages.
func (h Hash) Short() string { return hex.EncodeToString(h[:4]) }

// Ids in a body are byte strings of exactly their length. The CBOR library
// would fill a short one with zeros and cut a long one, which makes another id
// of it.

// UnmarshalCBOR reads a byte string of 16.
func (id *EventID) UnmarshalCBOR(b []byte) error { return exactly(id[:], b) }

// UnmarshalCBOR reads a byte string of 16.
func (id *UnitID) UnmarshalCBOR(b []byte) error { return exactly(id[:], b) }

// UnmarshalCBOR reads a byte string of 16.
func (id *VisitID) UnmarshalCBOR(b []byte) error { return exactly(id[:], b) }

// UnmarshalCBOR reads a byte string of 16.
func (id *PersonID) UnmarshalCBOR(b []byte) error { return exactly(id[:], b) }

// UnmarshalCBOR reads a byte string of 16.
func (id *ShopID) UnmarshalCBOR(b []byte) error { return exactly(id[:], b) }

// UnmarshalCBOR reads a byte string of 16.
func (i *Incarnation) UnmarshalCBOR(b []byte) error { return exactly(i[:], b) }

// UnmarshalCBOR reads a byte string of 32.
func (id *BenchID) UnmarshalCBOR(b []byte) error { return exactly(id[:], b) }

// UnmarshalCBOR reads a byte string of 32.
func (h *Hash) UnmarshalCBOR(b []byte) error { return exactly(h[:], b) }

// UnmarshalCBOR reads a byte string of 16.
func (k *RowKey) UnmarshalCBOR(b []byte) error { return exactly(k[:], b) }

func exactly(dst, item []byte) error {
	r := reader{b: item}
	n := uint64(len(dst))
	s := r.bytes(n, n)
	if r.bad || len(r.b) > 0 {
		return fmt.Errorf("id: want %d bytes: %w", n, ErrMalformed)
	}
	copy(dst, s)
	return nil
}
