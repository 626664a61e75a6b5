package keyring

import (
	"errors"

	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

var (
	// ErrMalformed is returned when bytes are no sealed key, or when the seal
	// holds and what is inside is not as it must be.
	ErrMalformed = errors.New("not a person's sealed key")

	// ErrTooLarge is returned when bytes pass MaxSize.
	ErrTooLarge = seal.ErrTooLarge

	// ErrNewer is returned when a newer program sealed the key.
	ErrNewer = errors.New("sealed by a newer version")

	// ErrOtherShop is returned when the key is of another shop's customer.
	ErrOtherShop = errors.New("another shop's")

	// ErrOtherPerson is returned when the key is another person's than it stands
	// for.
	ErrOtherPerson = errors.New("another person's")

	// ErrNoKey is returned when the shop's key of the epoch is not known. It may
	// become known.
	ErrNoKey = segment.ErrNoKey

	// ErrSeal is returned when the seal does not open: the bytes were changed,
	// or sealed with another key.
	ErrSeal = seal.ErrSeal
)
