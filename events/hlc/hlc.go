// Package hlc is the hybrid logical clock that stamps every event of a shop.
//
// A stamp is 48 bits of milliseconds and a 16 bit counter in one integer, so
// comparing stamps is comparing integers. A clock hands out stamps that only
// rise: when the machine's clock stands still or jumps back, the counter goes
// on from the last stamp and carries into the milliseconds when it is full.
// Seeing a stamp of another bench lifts the clock above it, so what is written
// after something was seen also sorts after it.
//
// One wrong laptop must not drag the shop years ahead: a stamp of more than
// MaxAhead beyond this machine's clock is reported as doubtful and not merged.
// It is not refused either, since the event that carries it is a fact all the
// same.
//
// The clock reads time through a function it is given. It imports nothing of
// ours, takes no lock of its own beyond one short one, and never sleeps.
package hlc

import (
	"errors"
	"sync"
	"time"
)

// MaxAhead is how far a stamp may lie ahead of this machine's clock before it
// is doubtful. A day is more than any mix-up of time zones or summer time.
const MaxAhead = 24 * time.Hour

const (
	counterBits = 16
	maxMs       = 1<<48 - 1
)

// ErrSpent is returned by Next when the stamps are used up, in the year 10889
// by the clock or after one machine stood there once.
var ErrSpent = errors.New("clock: no stamp is left above the last one")

// Stamp is milliseconds since 1970 in the upper 48 bits and a counter below.
type Stamp uint64

// At makes a stamp from milliseconds since 1970, clamped to what fits, with
// the counter at zero.
func At(ms int64) Stamp {
	return Stamp(uint64(min(max(ms, 0), maxMs)) << counterBits)
}

// Join makes a stamp of its two parts.
func Join(ms uint64, counter uint16) Stamp {
	return Stamp(ms<<counterBits | uint64(counter))
}

// Ms is the stamp's milliseconds since 1970.
func (s Stamp) Ms() uint64 { return uint64(s >> counterBits) }

// Counter is the stamp's logical part.
func (s Stamp) Counter() uint16 { return uint16(s) }

// Time is the stamp's instant, in UTC.
func (s Stamp) Time() time.Time { return time.UnixMilli(int64(s.Ms())).UTC() }

// Clock hands out rising stamps. It may be used by several goroutines.
type Clock struct {
	now func() int64

	mu   sync.Mutex
	last Stamp
}

// New makes a clock that reads milliseconds since 1970 from now and hands out
// stamps above last, the highest this bench has used.
func New(now func() int64, last Stamp) *Clock {
	return &Clock{now: now, last: last}
}

// Next gives a stamp above every stamp this clock gave or saw before.
func (c *Clock) Next() (Stamp, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last == Join(maxMs, 1<<counterBits-1) {
		return 0, ErrSpent
	}
	c.last = max(c.last+1, At(c.now()))
	return c.last, nil
}

// See lifts the clock to a stamp of another bench and reports whether that
// stamp is doubtful, in which case the clock stays where it was.
func (c *Clock) See(s Stamp) (doubtful bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if s > At(c.now()+MaxAhead.Milliseconds()) {
		return s > c.last
	}
	c.last = max(c.last, s)
	return false
}

// Last is the highest stamp given or merged so far.
func (c *Clock) Last() Stamp {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.last
}
