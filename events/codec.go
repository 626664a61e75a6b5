package events

import (
	"encoding/binary"
	"fmt"
	"unicode/utf8"

	"github.com/fxamacker/cbor/v2"
)

// An event's record is one CBOR array (RFC 8949, core deterministic encoding):
//
//	[ id, kind, version, about, visit, at, by, body ]
//
//	id       byte string, 16: the event's ULID
//	kind     unsigned: a row of the table of kinds
//	version  unsigned: of the kind's body, from 1
//	about    byte string, 0 or 16: the unit or person it is about
//	visit    byte string, 0 or 16: the intake event of the visit it belongs to
//	at       array of 0, 1 or 3 integers: nothing, the day since 1970-01-01, or
//	         that day, the second of it and the offset from UTC in minutes
//	by       text: who recorded it, by the shop's own short name
//	body     map with integer keys, one struct a kind
//
// The record is part of the format for ever. What stands before the body is
// the same for kinds that are not invented yet, so an older program can place,
// sort and show an event it can't read. The record is written and read by hand
// because every event of a rebuild passes here; the body goes through the CBOR
// library. Why CBOR and not JSON: the same event must have the same bytes, and
// JSON has no rule for that which libraries keep.

// Envelope is what is said of every event, whatever its kind.
type Envelope struct {
	ID      EventID
	Kind    Kind
	Version uint
	About   [16]byte // a UnitID or a PersonID, as the kind says; zero for the shop
	Visit   VisitID
	At      When
	By      string
}

// Unit is the unit an event is about.
func (e Envelope) Unit() UnitID { return UnitID(e.About) }

// RawBody is a body's CBOR, as it was written.
type RawBody = cbor.RawMessage

var bodyEncoder = func() cbor.EncMode {
	m, err := cbor.CoreDetEncOptions().EncMode()
	if err != nil {
		panic(err) // the options are constants of this file
	}
	return m
}()

var bodyDecoder = func() cbor.DecMode {
	m, err := cbor.DecOptions{
		DupMapKey: cbor.DupMapKeyEnforcedAPF, MaxNestedLevels: 8,
		MaxArrayElements: 4096, MaxMapPairs: 4096, IndefLength: cbor.IndefLengthForbidden, TagsMd: cbor.TagsForbidden,
	}.DecMode()
	if err != nil {
		panic(err) // the options are constants of this file
	}
	return m
}()

// EncodeBody gives a body's bytes.
func EncodeBody(b Body) (RawBody, error) {
	raw, err := bodyEncoder.Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", b.Kind(), err)
	}
	return raw, nil
}

// maxHead is what stands before the body at most, without by.
const maxHead = 1 + 17 + 3 + 3 + 17 + 17 + (1 + 5 + 5 + 3) + 2

// EncodeRecord gives an event's record.
func EncodeRecord(e Envelope, body RawBody) ([]byte, error) {
	b := make([]byte, 0, maxHead+len(e.By)+len(body))
	b = append(b, 0x88) // array of eight
	b = appendBytes(b, e.ID[:])
	b = appendHead(b, 0, uint64(e.Kind))
	b = appendHead(b, 0, uint64(max(e.Version, 1)))
	b = appendID(b, e.About)
	b = appendID(b, e.Visit)
	b = appendWhen(b, e.At)
	b = appendHead(b, 3, uint64(len(e.By)))
	b = append(append(b, e.By...), body...)
	if len(b) > MaxRecord {
		return nil, fmt.Errorf("%s: record of %d bytes, at most %d: %w", e.Kind, len(b), MaxRecord, ErrTooLarge)
	}
	return b, nil
}

// DecodeRecord reads an event's record into its envelope and its body's bytes,
// which share the record's memory. It takes the one deterministic form only.
func DecodeRecord(rec []byte) (e Envelope, body RawBody, err error) {
	if len(rec) > MaxRecord {
		return e, nil, fmt.Errorf("record of %d bytes, at most %d: %w", len(rec), MaxRecord, ErrTooLarge)
	}
	r := reader{b: rec}
	r.want(4, 8)
	copy(e.ID[:], r.bytes(16, 16))
	e.Kind = Kind(r.uint(1<<16 - 1))
	e.Version = uint(r.uint(1<<16 - 1))
	e.About, e.Visit = r.id(), r.id()
	e.At = r.when()
	by := r.text(MaxWord)
	if r.bad || e.ID.IsZero() || e.Kind == 0 || e.Version == 0 {
		return e, nil, fmt.Errorf("record: head: %w", ErrMalformed)
	}
	e.By = string(by)
	if err := e.At.Validate(); err != nil {
		return e, nil, fmt.Errorf("record: %w: %v", ErrMalformed, err)
	}
	return e, RawBody(r.b), nil
}

// appendHead writes a CBOR head of a major type in its shortest form.
func appendHead(b []byte, major byte, n uint64) []byte {
	m := major << 5
	switch {
	case n < 24:
		return append(b, m|byte(n))
	case n < 1<<8:
		return append(b, m|24, byte(n))
	case n < 1<<16:
		return binary.BigEndian.AppendUint16(append(b, m|25), uint16(n))
	case n < 1<<32:
		return binary.BigEndian.AppendUint32(append(b, m|26), uint32(n))
	}
	return binary.BigEndian.AppendUint64(append(b, m|27), n)
}

func appendBytes(b, s []byte) []byte { return append(appendHead(b, 2, uint64(len(s))), s...) }

// appendID writes an id, an absent one as an empty byte string.
func appendID[T ~[16]byte](b []byte, id T) []byte {
	if id == *new(T) {
		return append(b, 0x40)
	}
	a := [16]byte(id)
	return appendBytes(b, a[:])
}

func appendInt(b []byte, n int64) []byte {
	if n < 0 {
		return appendHead(b, 1, uint64(-1-n))
	}
	return appendHead(b, 0, uint64(n))
}

func appendWhen(b []byte, w When) []byte {
	switch w.Precision {
	case ToDay:
		return appendInt(append(b, 0x81), int64(w.Day))
	case ToSecond:
		b = appendInt(append(b, 0x83), int64(w.Day))
		return appendInt(appendInt(b, int64(w.Second)), int64(w.Offset))
	}
	return append(b, 0x80)
}

// MarshalCBOR writes the same array as a record's head has.
func (w When) MarshalCBOR() ([]byte, error) { return appendWhen(nil, w), nil }

// UnmarshalCBOR reads it.
func (w *When) UnmarshalCBOR(b []byte) error {
	r := reader{b: b}
	*w = r.when()
	if r.bad || len(r.b) > 0 {
		return fmt.Errorf("time: %w", ErrMalformed)
	}
	return w.Validate()
}

// reader takes CBOR items off the front of b. After the first that does not
// fit it is bad and gives zeros.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) head(major byte) uint64 {
	if r.bad || len(r.b) == 0 || r.b[0]>>5 != major {
		r.bad = true
		return 0
	}
	low, b := r.b[0]&31, r.b[1:]
	var n, least uint64
	size := 0
	switch {
	case low < 24:
		r.b = b
		return uint64(low)
	case low <= 27:
		size = 1 << (low - 24)
		least = [4]uint64{24, 1 << 8, 1 << 16, 1 << 32}[low-24]
	}
	if size == 0 || len(b) < size {
		r.bad = true
		return 0
	}
	for _, c := range b[:size] {
		n = n<<8 | uint64(c)
	}
	r.b, r.bad = b[size:], n < least
	return n
}

func (r *reader) want(major byte, n uint64) {
	if r.head(major) != n {
		r.bad = true
	}
}

func (r *reader) uint(limit uint64) uint64 {
	n := r.head(0)
	r.bad = r.bad || n > limit
	return n
}

func (r *reader) take(n, limit uint64) []byte {
	if r.bad || n > limit || n > uint64(len(r.b)) {
		r.bad = true
		return nil
	}
	s := r.b[:n]
	r.b = r.b[n:]
	return s
}

// bytes takes a byte string that is empty, if least is zero, or of size.
func (r *reader) bytes(least, size uint64) []byte {
	n := r.head(2)
	if n != size && (least > 0 || n != 0) {
		r.bad = true
	}
	return r.take(n, size)
}

// id takes an id that may be absent. Absent has one form, the empty string.
func (r *reader) id() (id [16]byte) {
	if n := copy(id[:], r.bytes(0, 16)); n > 0 && id == [16]byte{} {
		r.bad = true
	}
	return id
}

func (r *reader) text(limit uint64) []byte {
	s := r.take(r.head(3), limit)
	r.bad = r.bad || !utf8.Valid(s)
	return s
}

func (r *reader) int(limit int64) int64 {
	if !r.bad && len(r.b) > 0 && r.b[0]>>5 == 1 {
		n := r.head(1)
		r.bad = r.bad || n >= uint64(limit)
		return -1 - int64(min(n, uint64(limit)))
	}
	return int64(r.uint(uint64(limit)))
}

func (r *reader) when() (w When) {
	switch n := r.head(4); {
	case r.bad || n == 0:
	case n == 1:
		w = When{Precision: ToDay, Day: Day(r.int(1 << 30))}
	case n == 3:
		w = When{ToSecond, Day(r.int(1 << 30)), int32(r.int(1 << 30)), int16(r.int(1 << 14))}
	default:
		r.bad = true
	}
	if r.bad {
		return When{}
	}
	return w
}

// checkBody refuses a body that is not one well-formed CBOR map, whatever its
// kind: an unknown kind is carried, garbage is not.
func checkBody(raw RawBody) error {
	if len(raw) == 0 || raw[0]>>5 != 5 {
		return fmt.Errorf("body: not a map: %w", ErrMalformed)
	}
	if err := bodyDecoder.Wellformed(raw); err != nil {
		return fmt.Errorf("body: %w: %v", ErrMalformed, err)
	}
	return nil
}
