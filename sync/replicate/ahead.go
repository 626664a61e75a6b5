package replicate

import (
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Opening is a segment that is opened, and all of it checked, before its turn
// comes: that needs nothing of the log, and most of the time that a segment takes.
// It counts only as long as the shop's keys are the same.
type Opening struct {
	bytes  []byte
	ring   *roster.Ring
	done   chan struct{} // closed when it is through
	opened segment.Opened
	err    error
}

// Ahead begins to open a segment on a goroutine of its own. It may be called from
// any goroutine; the bytes must not change.
func (b *Bench) Ahead(payload []byte) *Opening {
	a := &Opening{bytes: payload, ring: b.Inbox.keys.Load(), done: make(chan struct{})}
	if len(payload) == 0 || a.ring == nil {
		return nil
	}
	go func() {
		defer close(a.done)
		a.opened, a.err = open(a.bytes, b.Inbox.shop, *a.ring)
	}()
	return a
}
