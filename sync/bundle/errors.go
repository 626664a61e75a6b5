package bundle

import "errors"

// Errors of a file that gives nothing.
var (
	// ErrNotBundle is returned when a file is something else.
	ErrNotBundle = errors.New("not a bundle")

	// ErrNewer is returned when a newer program made the bundle.
	ErrNewer = errors.New("made by a newer version")

	// ErrOtherShop is returned when a bundle, or a segment that is to be added
	// to one, is another shop's.
	ErrOtherShop = errors.New("another shop's bundle")
)

// Errors of a file that is not whole.
var (
	// ErrCut is returned when a bundle ends before its end.
	ErrCut = errors.New("the file is cut off")

	// ErrDamaged is returned when bytes of a bundle are not those that were
	// written.
	ErrDamaged = errors.New("the file is damaged")
)
