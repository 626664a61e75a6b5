package app

import "testing"

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
