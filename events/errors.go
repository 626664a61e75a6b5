package events

import (
	"errors"
	"fmt"
)

// Errors of reading an event.
var (
	// ErrUnread is returned when a body is of a kind or version this program
	// does not know. The event is carried, hashed and forwarded all the same.
	ErrUnread = errors.New("made by a newer version")

	// ErrMalformed is returned when bytes are not an event at all.
	ErrMalformed = errors.New("not an event")

	// ErrTooLarge is returned when a record or a text passes its limit.
	ErrTooLarge = errors.New("too large")
)

// Errors of an event's place in its feed.
var (
	// ErrLink is returned when an event does not follow the one before it.
	ErrLink = errors.New("does not follow the event before it")

	// ErrSignature is returned when a head or a statement is not signed by the
	// key it names.
	ErrSignature = errors.New("signature does not match")
)

// ErrForgotten is returned when a person's key is gone, so that what was
// sealed with it can't be read any more.
var ErrForgotten = errors.New("this person was forgotten")

// ErrWrapped is returned when a wrapped shop key does not open: it is another
// bench's, of another shop or epoch, or its bytes were changed.
var ErrWrapped = errors.New("not wrapped for this bench, shop and epoch")

// Refused says which event of which feed was not taken, and why.
type Refused struct {
	Feed FeedID
	Seq  uint64
	Why  error
}

func (r *Refused) Error() string {
	return fmt.Sprintf("feed %s at %d: %v", r.Feed.Short(), r.Seq, r.Why)
}

// Unwrap gives the reason.
func (r *Refused) Unwrap() error { return r.Why }

// Invalid says which clause of a kind's rules a body breaks.
type Invalid struct{ Clause string }

func (e *Invalid) Error() string { return e.Clause }

// clause gives an Invalid unless ok. The arguments are formatted only then.
func clause(ok bool, format string, args ...any) error {
	if ok {
		return nil
	}
	return &Invalid{fmt.Sprintf(format, args...)}
}

// firstOf is the first of several clauses that is broken.
func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
