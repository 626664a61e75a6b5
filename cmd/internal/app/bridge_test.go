package app

import (
	"testing"

	"oldhand/events/eventlog"
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
