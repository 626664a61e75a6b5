package projections

import (
	"oldhand/events"
)

// Reader is where views are read: a log's view, or the action being made.
type Reader interface {
	Get(k []byte) ([]byte, error)
	Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error
	// Leap is a Scan that goes on at the key which fn gives, to the next pair where
	// that is the one it was called with, and ends where it gives none.
	Leap(lo, hi []byte, fn func(k, v []byte) (to []byte, err error)) error
	Events(subject [16]byte) ([]events.Event, error)
}

// Store is where views are read and changed.
type Store interface {
	Reader
	Put(k, v []byte)
	Delete(k []byte)
}

// after is the first key behind all that begin with a prefix.
func after(prefix []byte) []byte {
	hi := append([]byte(nil), prefix...)
	for i := len(hi) - 1; i >= 0; i-- {
		if hi[i]++; hi[i] != 0 {
			return hi[:i+1]
		}
	}
	return append(hi, make([]byte, 64)...)
}
