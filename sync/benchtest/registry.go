package benchtest

import (
	"crypto/sha256"
	"fmt"

	"oldhand/events"
	"oldhand/sync/segment"
)

// registry knows every event that was ever written, by its hash: what the world
// compares logs with.
type registry struct {
	events map[events.Hash]written
	places map[place]events.Hash       // what was written there first
	forked map[events.BenchID]bool     // benches that may write two events in one place
	opened map[[32]byte]segment.Opened // segments, by their own hash
	failed map[[32]byte]error
	chains map[events.Hash]map[events.Hash]bool // what lies on the chain that ends at an event
}

type place struct {
	feed events.FeedID
	seq  uint64
}

type written struct {
	head   events.Head
	prev   events.Hash
	honest bool
}

func newRegistry() registry {
	return registry{map[events.Hash]written{}, map[place]events.Hash{}, map[events.BenchID]bool{},
		map[[32]byte]segment.Opened{}, map[[32]byte]error{}, map[events.Hash]map[events.Hash]bool{}}
}

// fork lets a bench have two events in one place from here on.
func (r *registry) fork(b events.BenchID) { r.forked[b] = true }

// write registers an event. Another in its place breaks P6, unless something
// happened to the bench that no rule can see.
func (r *registry) write(e events.Event, honest bool) error {
	before, _ := e.Before()
	r.events[e.Hash] = written{e.Head(), before.Hash, honest}
	at := place{e.Feed, e.Seq}
	other, taken := r.places[at]
	if !taken {
		r.places[at] = e.Hash
	}
	if taken && other != e.Hash && !r.forked[e.Feed.Bench] {
		return fmt.Errorf("feed %s has two events %d (P6)", e.Feed.Short(), e.Seq)
	}
	return nil
}

// leadsTo reports whether an event lies on the chain that ends at a head.
func (r *registry) leadsTo(h events.Hash, end events.Head) bool {
	chain, ok := r.chains[end.Hash]
	if !ok {
		chain = map[events.Hash]bool{}
		for at := end.Hash; at != (events.Hash{}); at = r.events[at].prev {
			chain[at] = true
		}
		r.chains[end.Hash] = chain
	}
	return chain[h]
}

// open opens a segment with whatever key of the shop there ever was.
func (w *World) open(payload []byte) (segment.Opened, error) {
	sum := sha256.Sum256(payload)
	if o, ok := w.book.opened[sum]; ok {
		return o, w.book.failed[sum]
	}
	place, _ := segment.ReadPlace(payload)
	var o segment.Opened
	err := segment.ErrNoKey
	for id, secret := range w.shop.secrets {
		if secret.ID(w.shop.id, place.Epoch) != id {
			continue
		}
		if o, err = segment.Open(payload, w.shop.id, func(uint32) (segment.Key, bool) { return segment.Key(secret), true }); err == nil {
			break
		}
	}
	w.book.opened[sum], w.book.failed[sum] = o, err
	return o, err
}

// eventsOf are the events of an opened segment, linked by themselves.
func eventsOf(o segment.Opened) []events.Event {
	evs, err := o.Link(events.Head{Feed: o.Feed, Seq: o.First - 1, Hash: o.Prev})
	if err != nil {
		panic(err) // Open linked them there
	}
	return evs
}
