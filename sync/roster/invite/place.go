package invite

import (
	"errors"
	"fmt"
)

// Place says where an exchange is and by what it is known, for benches that
// belong to the shop already and met another one before, or met it elsewhere.
// It opens nothing: an exchange lets in whom the roster names, and a Place may
// be shown to anybody. It is spelt as a join code is; its bytes are
//
//	1   version (upper 4 bits, 2) and number of addresses (lower 4 bits)
//	16  pin, then addresses, as in a join code
type Place struct {
	Pin       Pin
	Addresses []string // host:port, at most MaxAddresses
}

const (
	placeVersion = 2
	placeFixed   = 1 + len(Pin{})
)

var (
	// ErrPlaceCode is returned when a join code is wanted and what was typed is
	// the code of a place.
	ErrPlaceCode = errors.New("this code says where an exchange is, and lets no bench in")

	// ErrJoinCode is returned when the code of a place is wanted and what was
	// typed is a join code.
	ErrJoinCode = errors.New("this is a join code, for a machine that is no bench of the shop yet")
)

// Text spells the place, a dash between groups.
func (p Place) Text() (string, error) {
	if len(p.Addresses) > MaxAddresses {
		return "", fmt.Errorf("code: %d addresses, at most %d", len(p.Addresses), MaxAddresses)
	}
	b := append([]byte{placeVersion<<4 | byte(len(p.Addresses))}, p.Pin[:]...)
	b, err := appendAddresses(b, p.Addresses)
	if err != nil {
		return "", err
	}
	return spell(b), nil
}

// ReadPlace reads a place as a person typed it. A *Mistyped error says in which
// group to look.
func ReadPlace(typed string) (p Place, err error) {
	b, err := unspell(typed)
	if err != nil {
		return p, err
	}
	if b[0]>>4 == version {
		return p, ErrJoinCode
	}
	if b[0]>>4 != placeVersion || len(b) < placeFixed || b[0]&15 > MaxAddresses {
		return p, ErrNotCode
	}
	copy(p.Pin[:], b[1:])
	if p.Addresses, err = cutAddresses(b[placeFixed:], int(b[0]&15)); err != nil {
		return Place{}, err
	}
	return p, nil
}
