package segment

import (
	"fmt"

	"oldhand/events"
)

// Split is how many events from the front of a run make a good segment: about
// 500, fewer where they are long, at least one. A run is cut the same way
// however much of it is at hand, so nobody needs to hold a whole feed.
func Split(evs []events.Event) int {
	return within(evs, goodEvents, goodBytes)
}

// SplitAt cuts a run of events of one feed at signed heads that are at hand,
// where no others can be made. It gives how many events from the front make a
// segment, and the head they end at: the last head that Split would allow, or
// the first after it. Without a head of these events it gives 0: they must wait
// for one. ErrTooLarge says that the first head lies too far on for a segment.
func SplitAt(evs []events.Event, heads []events.SignedHead) (n int, head events.SignedHead, err error) {
	if len(evs) == 0 {
		return 0, head, nil
	}
	good := Split(evs)
	for _, h := range heads {
		k, ok := cutsAt(evs, h)
		if better := n == 0 || n < k && k <= good || k < n && n > good; ok && better {
			n, head = k, h
		}
	}
	if n == 0 {
		return 0, head, nil
	}
	if err := Fits(evs[:n]); err != nil {
		return 0, events.SignedHead{}, fmt.Errorf("cut feed %s between its signed heads: %w", evs[0].Feed.Short(), err)
	}
	return n, head, nil
}

// cutsAt is how many of the events stand up to a head, if it is of one of them.
func cutsAt(evs []events.Event, h events.SignedHead) (n int, ok bool) {
	i := h.Seq - evs[0].Seq
	if h.Seq < evs[0].Seq || i >= uint64(len(evs)) || evs[i].Head() != h.Head {
		return 0, false
	}
	return int(i) + 1, true
}

// Fits refuses a run that is too long for one segment.
func Fits(evs []events.Event) error {
	if n := within(evs, MaxEvents, MaxRecords); n < len(evs) {
		return fmt.Errorf("%d events, of which %d fit a segment: %w", len(evs), n, ErrTooLarge)
	}
	return nil
}

// within is how many events from the front pass neither limit, at least one.
func within(evs []events.Event, most, bytes int) int {
	size := 0
	for i, e := range evs {
		size += lengthSize + len(e.Record)
		if i > 0 && (i >= most || size > bytes) {
			return i
		}
	}
	return len(evs)
}
