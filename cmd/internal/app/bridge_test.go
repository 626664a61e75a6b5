package app

import "testing"

// FollowAtMost lowers the number of events that a meeting follows as they come.
func FollowAtMost(t testing.TB, n int) {
	was := mostFollowed
	mostFollowed = n
	t.Cleanup(func() { mostFollowed = was })
}
