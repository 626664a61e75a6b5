package segment

import (
	"errors"
	"fmt"

	"oldhand/events"
	"oldhand/sync/seal"
)

// Errors of opening a segment. Beside them stand those of package events: a
// record that is none (events.ErrMalformed), a chain that does not end at the
// head (events.ErrLink), a head its bench did not sign (events.ErrSignature).
var (
	// ErrMalformed is returned when bytes are no segment, or when the seal holds
	// and what is inside is not as it must be.
	ErrMalformed = errors.New("not a segment")

	// ErrTooLarge is returned when a length or a number passes its limit.
	ErrTooLarge = seal.ErrTooLarge

	// ErrNewer is returned when a newer program made the segment.
	ErrNewer = errors.New("made by a newer version")

	// ErrOtherShop is returned when a segment is another shop's.
	ErrOtherShop = errors.New("another shop's segment")

	// ErrNoKey is returned when the key of the segment's epoch is not known. It
	// may become known.
	ErrNoKey = errors.New("no key of this epoch")

	// ErrSeal is returned when the seal does not open: the bytes were changed,
	// or sealed with another key.
	ErrSeal = seal.ErrSeal
)

// Errors of putting a segment behind a head.
var (
	// ErrGap is returned when events between the head and the segment are
	// missing.
	ErrGap = errors.New("events before it are missing")

	// ErrPast is returned when the head lies beyond the segment, so that its
	// hash can't say whether the segment leads there. Whoever must know asks
	// again with the head at the segment's last event.
	ErrPast = errors.New("lies wholly before the head")

	// ErrFork is returned when the segment holds another event in a place that
	// the head says is taken. It comes as a *Fork.
	ErrFork = errors.New("two different events in one place")
)

// Fork says where two histories of one feed part, at the latest, and the two
// hashes that stand there.
type Fork struct {
	Feed        events.FeedID
	Seq         uint64
	Here, There events.Hash // of the head given, and of the segment
}

func (f *Fork) Error() string {
	return fmt.Sprintf("feed %s at %d: %s here, %s there: %v", f.Feed.Short(), f.Seq, f.Here.Short(), f.There.Short(), ErrFork)
}

// Is makes a Fork an ErrFork.
func (f *Fork) Is(target error) bool { return target == ErrFork }
