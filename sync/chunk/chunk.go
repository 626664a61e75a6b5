package chunk

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

const (
	// Size is how many bytes of a piece a chunk holds. They do not pack, and
	// sealed they just fit the size class of 256 KiB: what is asked for is soon
	// there on a slow line, and what was cut is little to fetch again.
	Size = 255 << 10

	// MaxSealed is the size of a sealed chunk.
	MaxSealed = 256 << 10
)

// The clear part. It is part of the format for ever.
const (
	magic     = "oldhpic"
	version   = 1
	clearSize = len(magic) + 1 + len(segment.Tag{}) + len(Name{}) + 4 + 4
	nameMark  = "oldhand piece name 1\x00"
)

var (
	// ErrMalformed is returned when bytes are no sealed chunk.
	ErrMalformed = errors.New("not a sealed chunk of a photo or recording")

	// ErrTooLarge is returned when bytes pass MaxSealed.
	ErrTooLarge = seal.ErrTooLarge

	// ErrNewer is returned when a newer program sealed the chunk.
	ErrNewer = errors.New("sealed by a newer version")

	// ErrOther is returned when a chunk is of another shop, piece or place than it
	// lies in.
	ErrOther = errors.New("of another shop, piece or place")

	// ErrNoKey is returned when the shop's key of the epoch is not known. It may
	// become known.
	ErrNoKey = segment.ErrNoKey

	// ErrSeal is returned when the seal does not open.
	ErrSeal = seal.ErrSeal
)

// Name is what a piece is known by in clear.
type Name [16]byte

// NameOf is the name of a piece: the start of HMAC-SHA-256 (RFC 2104) with the
// shop's id as key, of nameMark and the piece's hash.
func NameOf(shop events.ShopID, content events.Hash) (n Name) {
	mac := hmac.New(sha256.New, shop[:])
	mac.Write([]byte(nameMark))
	mac.Write(content[:])
	copy(n[:], mac.Sum(nil))
	return n
}

// Count is how many chunks a piece of size bytes has.
func Count(size int64) uint32 { return uint32((size + Size - 1) / Size) }

// Length is how many bytes the chunk with a number holds of a piece of size bytes.
func Length(size int64, number uint32) int {
	return int(min(Size, size-int64(number)*Size))
}

// Place says where a chunk belongs.
type Place struct {
	Shop   segment.Tag
	Name   Name
	Number uint32
	Epoch  uint32
}

func (p Place) clear() []byte {
	b := append(make([]byte, 0, clearSize), magic...)
	b = append(append(b, version), p.Shop[:]...)
	b = append(b, p.Name[:]...)
	return binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(b, p.Number), p.Epoch)
}

// Keys gives the shop's keys of an epoch, none where none is known.
type Keys = func(epoch uint32) []seal.Key

// Seal seals a chunk of a piece. The nonce is drawn from random: crypto/rand, or a
// seeded source in tests.
func Seal(shop events.ShopID, epoch uint32, key seal.Key, content events.Hash, number uint32, plain []byte, random io.Reader) ([]byte, error) {
	var b []byte
	err := fmt.Errorf("%d bytes, want 1 to %d: %w", len(plain), Size, ErrTooLarge)
	if len(plain) > 0 && len(plain) <= Size {
		p := Place{segment.TagOf(shop), NameOf(shop, content), number, epoch}
		b, err = seal.Seal(key, p.clear(), shop[:], plain, random)
	}
	if err != nil {
		return nil, fmt.Errorf("seal chunk %d of piece %s: %w", number, content.Short(), err)
	}
	return b, nil
}

// ReadPlace reads where a chunk says that it belongs. Nothing proves it until it
// is opened.
func ReadPlace(b []byte) (p Place, err error) {
	if len(b) > MaxSealed {
		return p, fmt.Errorf("%d bytes, at most %d: %w", len(b), MaxSealed, ErrTooLarge)
	}
	if len(b) <= clearSize || string(b[:len(magic)]) != magic {
		return p, fmt.Errorf("%d bytes that do not begin as one: %w", len(b), ErrMalformed)
	}
	switch v := b[len(magic)]; {
	case v > version:
		return p, fmt.Errorf("version %d, this program reads %d: %w", v, version, ErrNewer)
	case v < version:
		return p, fmt.Errorf("version %d: %w", v, ErrMalformed)
	}
	b = b[len(magic)+1:]
	b = b[copy(p.Shop[:], b):]
	b = b[copy(p.Name[:], b):]
	p.Number, p.Epoch = binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:])
	return p, nil
}

// Open gives the bytes of the chunk with a number of a piece of a shop.
func Open(b []byte, shop events.ShopID, content events.Hash, number uint32, keys Keys) ([]byte, error) {
	plain, err := open(b, shop, content, number, keys)
	if err != nil {
		return nil, fmt.Errorf("open chunk %d of piece %s: %w", number, content.Short(), err)
	}
	return plain, nil
}

func open(b []byte, shop events.ShopID, content events.Hash, number uint32, keys Keys) (plain []byte, err error) {
	p, err := ReadPlace(b)
	if err != nil {
		return nil, err
	}
	if p.Shop != segment.TagOf(shop) || p.Name != NameOf(shop, content) || p.Number != number {
		return nil, ErrOther
	}
	err = fmt.Errorf("epoch %d: %w", p.Epoch, ErrNoKey)
	for _, k := range keys(p.Epoch) {
		if plain, err = seal.Open(k, b, clearSize, shop[:]); !errors.Is(err, ErrSeal) {
			break
		}
	}
	if errors.Is(err, seal.ErrMalformed) {
		err = fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	if err == nil && len(plain) > Size {
		err = fmt.Errorf("%d bytes inside, at most %d: %w", len(plain), Size, ErrTooLarge)
	}
	if err != nil {
		return nil, err
	}
	return plain, nil
}
