package keyring

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

// Version is the newest that this program reads. Who kept something aside for
// being newer tries it again when this has risen.
const Version = 1

const (
	// MaxSize is how many bytes are read of a sealed key: four times what this
	// version makes, for what a newer one may add.
	MaxSize = 4 << 10

	// size is that of every piece of this version.
	size = 1 << 10
)

// The clear part and what is sealed behind it. They are part of the format for
// ever.
const (
	magic     = "oldhkey"
	version   = Version
	clearSize = len(magic) + 1 + len(segment.Tag{}) + len(events.PersonID{}) + 4
	keySize   = len(events.PersonKey{})
	orderSize = len(events.ForgetOrder{})
)

// Keys gives the shop's keys of an epoch, none where none is known: more than
// one where owners who had not met set more.
type Keys = func(epoch uint32) []seal.Key

// Place says whose a sealed key is, and the epoch of the key that seals it.
type Place struct {
	Shop   segment.Tag
	Person events.PersonID
	Epoch  uint32
}

func (p Place) clear() []byte {
	b := append(make([]byte, 0, clearSize), magic...)
	b = append(append(b, version), p.Shop[:]...)
	return binary.BigEndian.AppendUint32(append(b, p.Person[:]...), p.Epoch)
}

// Seal seals what a keyring has of a person. The nonce is drawn from random:
// crypto/rand, or a seeded source in tests.
func Seal(shop events.ShopID, epoch uint32, key seal.Key, e events.KeyEntry, random io.Reader) ([]byte, error) {
	plain, err := plainOf(e)
	if err != nil {
		return nil, fmt.Errorf("seal the key of person %s: %w", e.Person, err)
	}
	b, err := seal.Seal(key, Place{segment.TagOf(shop), e.Person, epoch}.clear(), shop[:], plain, random)
	if err != nil {
		return nil, fmt.Errorf("seal the key of person %s: %w", e.Person, err)
	}
	return b, nil
}

func plainOf(e events.KeyEntry) ([]byte, error) {
	switch {
	case e.Person.IsZero():
		return nil, fmt.Errorf("nobody: %w", ErrMalformed)
	case e.IsNothing():
		return nil, fmt.Errorf("neither a key nor an order: %w", ErrMalformed)
	case e.Forgotten():
		return append([]byte{0}, e.Order[:]...), nil
	}
	return append([]byte{byte(keySize)}, e.Key[:]...), nil
}

// ReadPlace reads whose key it is, which is in clear. Nothing proves it until
// the piece is opened.
func ReadPlace(b []byte) (Place, error) {
	p, err := readPlace(b)
	if err != nil {
		return Place{}, fmt.Errorf("read whose key it is: %w", err)
	}
	return p, nil
}

// readPlace checks size, magic and version, in this order: the size of a newer
// version is its own affair, up to the limit.
func readPlace(b []byte) (p Place, err error) {
	if len(b) > MaxSize {
		return p, fmt.Errorf("%d bytes, at most %d: %w", len(b), MaxSize, ErrTooLarge)
	}
	if len(b) <= len(magic) || string(b[:len(magic)]) != magic {
		return p, fmt.Errorf("%d bytes that do not begin as one: %w", len(b), ErrMalformed)
	}
	switch v := b[len(magic)]; {
	case v > version:
		return p, fmt.Errorf("version %d, this program reads %d: %w", v, version, ErrNewer)
	case v < version:
		return p, fmt.Errorf("version %d: %w", v, ErrMalformed)
	case len(b) != size:
		return p, fmt.Errorf("%d bytes, want %d: %w", len(b), size, ErrMalformed)
	}
	b = b[len(magic)+1:]
	b = b[copy(p.Shop[:], b):]
	b = b[copy(p.Person[:], b):]
	p.Epoch = binary.BigEndian.Uint32(b)
	if p.Person.IsZero() {
		return p, fmt.Errorf("of nobody: %w", ErrMalformed)
	}
	return p, nil
}

// Open reads the sealed key of a person of a shop. That it opens proves that
// somebody with the shop's key sealed it; Keeper.Take checks what it says.
func Open(b []byte, shop events.ShopID, person events.PersonID, keys Keys) (events.KeyEntry, error) {
	e, err := open(b, shop, person, keys)
	if err != nil {
		return events.KeyEntry{}, fmt.Errorf("open the key of person %s: %w", person, err)
	}
	return e, nil
}

func open(b []byte, shop events.ShopID, person events.PersonID, keys Keys) (e events.KeyEntry, err error) {
	p, err := readPlace(b)
	switch {
	case err != nil:
		return e, err
	case p.Shop != segment.TagOf(shop):
		return e, ErrOtherShop
	case p.Person != person:
		return e, fmt.Errorf("it is of %s: %w", p.Person, ErrOtherPerson)
	}
	err = fmt.Errorf("epoch %d: %w", p.Epoch, ErrNoKey)
	var plain []byte
	for _, k := range keys(p.Epoch) {
		if plain, err = seal.Open(k, b, clearSize, shop[:]); !errors.Is(err, ErrSeal) {
			break
		}
	}
	if errors.Is(err, seal.ErrMalformed) {
		err = fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	if err != nil {
		return e, err
	}
	return readPlain(person, plain)
}

// readPlain reads what was sealed. It has one form for each entry.
func readPlain(person events.PersonID, b []byte) (events.KeyEntry, error) {
	e := events.KeyEntry{Person: person}
	switch {
	case len(b) == 1+keySize && int(b[0]) == keySize:
		copy(e.Key[:], b[1:])
	case len(b) == 1+orderSize && b[0] == 0:
		copy(e.Order[:], b[1:])
	}
	if e.IsNothing() {
		return events.KeyEntry{}, fmt.Errorf("%d bytes inside that hold neither a key nor an order: %w", len(b), ErrMalformed)
	}
	return e, nil
}
