package seal

import "errors"

var (
	// ErrSeal is returned when bytes do not open: they were changed, or sealed
	// with another key.
	ErrSeal = errors.New("seal does not open")

	// ErrTooLarge is returned when a length passes its limit.
	ErrTooLarge = errors.New("too large")

	// ErrMalformed is returned when bytes can't have been sealed here: their
	// length is none that sealed bytes have, or they open and are no content.
	ErrMalformed = errors.New("not sealed bytes")
)
