package keyring

import (
	"bytes"

	"oldhand/events"
)

// Merge says what is kept of two entries of one person: an order to forget
// before any key, a key before nothing. Of two keys, or of two owners' orders,
// it is always the same one, so that all benches come to keep one and the same,
// in whatever order they hear of them.
func Merge(a, b events.KeyEntry) events.KeyEntry {
	switch {
	case a.Forgotten() && b.Forgotten():
		if bytes.Compare(b.Order[:], a.Order[:]) < 0 {
			return b
		}
		return a
	case a.Forgotten() || b.IsNothing():
		return a
	case b.Forgotten() || a.IsNothing():
		return b
	case bytes.Compare(b.Key[:], a.Key[:]) < 0:
		return b
	}
	return a
}
