package app

import (
	"context"
	"errors"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Heed heeds orders to forget that came.
func Heed(s *Shop) error { return s.heed() }

// NamedOf is how many customers are found by a word of the name, through a view.
func NamedOf(t testing.TB, s *Shop, v *eventlog.View, word string) int {
	t.Helper()
	found, err := s.customers.Find(v, []string{word})
	if err != nil {
		t.Fatal(err)
	}
	return len(found)
}

// FollowAtMost lowers the number of events that a meeting follows as they come.
func FollowAtMost(t testing.TB, n int) {
	was := mostFollowed
	mostFollowed = n
	t.Cleanup(func() { mostFollowed = was })
}

// Busy holds the folder as a meeting with much to exchange does, until it is told.
func (h *Hosting) Busy() (done func()) {
	h.mu.Lock()
	return h.mu.Unlock
}

var errLooked = errors.New("only looked")

// OnlyLooking has fn look inside an action that writes nothing.
func OnlyLooking(t testing.TB, s *Shop, fn func(tx *eventlog.Tx) error) {
	t.Helper()
	err := s.Log.Append(context.Background(), func(tx *eventlog.Tx) error {
		return errors.Join(fn(tx), errLooked)
	})
	if many, ok := err.(interface{ Unwrap() []error }); !ok || len(many.Unwrap()) != 1 {
		t.Fatal(err)
	}
}

// CustomerOf is the customer that an intake's would be taken for.
func CustomerOf(s *Shop, tx *eventlog.Tx, p events.Personal) (events.PersonID, error) {
	return s.findPerson(tx, p)
}

// CustomerAmongAll is the same by opening every customer's name.
func CustomerAmongAll(tx *eventlog.Tx, p events.Personal) (found events.PersonID, err error) {
	err = projections.EachPerson(tx, tx, func(id events.PersonID, have events.Personal) (bool, error) {
		if samePerson(have, p) {
			found = id
		}
		return found.IsZero(), nil
	})
	return found, err
}

// FetchPatience shortens how long a file of photos waits for another who fetches.
func FetchPatience(t testing.TB, d time.Duration) {
	was := fetchPatience
	fetchPatience = d
	t.Cleanup(func() { fetchPatience = was })
}

// Fetching holds the folder for photos as another does who fetches into it.
func Fetching(t testing.TB, s *Shop) (done func()) {
	t.Helper()
	f, err := s.pieces().Fetch()
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}
}
