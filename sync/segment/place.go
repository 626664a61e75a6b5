package segment

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"fmt"
	"strings"

	"oldhand/events"
	"oldhand/sync/seal"
)

const (
	magic      = "oldhseg"
	version    = 1
	tagSize    = len(Tag{})
	benchSize  = len(events.BenchID{})
	runSize    = len(events.Incarnation{})
	headerSize = len(magic) + 1 + tagSize + benchSize + runSize + 8 + 8 + 4
)

// Tag tells shops apart without naming them: whoever does not know a shop's id
// can't find it from the tag. It is the same in every segment of a shop.
type Tag [16]byte

// tagHash stands before the shop's id in what is hashed. It is part of the
// format for ever.
const tagHash = "oldhand shop tag 1\x00"

// TagOf is the shop's tag: the start of the SHA-256 of tagHash and the id.
func TagOf(shop events.ShopID) (t Tag) {
	h := sha256.Sum256(append([]byte(tagHash), shop[:]...))
	copy(t[:], h[:])
	return t
}

// String is the tag as base 32 in lower case, safe in a file name and in a
// subject.
func (t Tag) String() string {
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(t[:]))
}

// Place says where a segment belongs: whose events, which, and the epoch of the
// key that seals them.
type Place struct {
	Shop        Tag
	Feed        events.FeedID
	First, Last uint64 // numbers of events, from 1, both in the segment
	Epoch       uint32
}

// Len is how many events the place has.
func (p Place) Len() int { return int(p.Last - p.First + 1) }

// String says which events of which feed.
func (p Place) String() string {
	return fmt.Sprintf("%s %d to %d", p.Feed.Short(), p.First, p.Last)
}

// ReadPlace reads a segment's place, which is in clear. Nothing proves it until
// the segment is opened.
func ReadPlace(b []byte) (Place, error) {
	p, err := readHeader(b)
	if err == nil {
		err = p.check()
	}
	if err != nil {
		return Place{}, fmt.Errorf("read a segment's place: %w", err)
	}
	return p, nil
}

func (p Place) header() []byte {
	b := append(make([]byte, 0, headerSize), magic...)
	b = append(append(b, version), p.Shop[:]...)
	b = append(append(b, p.Feed.Bench[:]...), p.Feed.Incarnation[:]...)
	b = binary.BigEndian.AppendUint64(b, p.First)
	b = binary.BigEndian.AppendUint64(b, p.Last)
	return binary.BigEndian.AppendUint32(b, p.Epoch)
}

// readHeader checks size, magic and version, in this order: the size of a newer
// version's segment is its own affair, up to the limit.
func readHeader(b []byte) (p Place, err error) {
	if len(b) > MaxSealed {
		return p, fmt.Errorf("%d bytes, at most %d: %w", len(b), MaxSealed, ErrTooLarge)
	}
	if len(b) <= len(magic) || string(b[:len(magic)]) != magic {
		return p, fmt.Errorf("%d bytes that do not begin as one: %w", len(b), ErrMalformed)
	}
	switch v := b[len(magic)]; {
	case v > version:
		return p, fmt.Errorf("version %d, this program reads %d: %w", v, version, ErrNewer)
	case v < version:
		return p, fmt.Errorf("version %d: %w", v, ErrMalformed)
	}
	if err := seal.CheckSize(len(b)); err != nil {
		return p, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	b = b[len(magic)+1:] // the least size is larger than a header
	b = b[copy(p.Shop[:], b):]
	b = b[copy(p.Feed.Bench[:], b):]
	b = b[copy(p.Feed.Incarnation[:], b):]
	p.First, p.Last = binary.BigEndian.Uint64(b), binary.BigEndian.Uint64(b[8:])
	p.Epoch = binary.BigEndian.Uint32(b[16:])
	return p, nil
}

// check refuses a place that no segment has.
func (p Place) check() error {
	if p.First == 0 || p.Last < p.First {
		return fmt.Errorf("events %d to %d: %w", p.First, p.Last, ErrMalformed)
	}
	if n := p.Last - p.First; n >= MaxEvents {
		return fmt.Errorf("events %d to %d, at most %d: %w", p.First, p.Last, MaxEvents, ErrTooLarge)
	}
	return nil
}
