package projections

import (
	"bytes"
	"errors"
	"runtime"
	"sync"

	"oldhand/events"
)

// parcel is some units' events on their way to be folded.
type parcel struct {
	units []events.UnitID
	ends  []int // of each unit's values
	sizes []int // of values
	arena []byte
	out   chan *folded
}

// perParcel is about how many bytes of events a parcel has: enough that handing
// it over costs nothing.
const perParcel = 256 << 10

// foldUnits folds all units that were never joined on as many goroutines as
// there are processors, and hands what comes of them on in their order.
func (r *rebuild) foldUnits() (err error) {
	workers := runtime.GOMAXPROCS(0)
	work, inOrder := make(chan *parcel), make(chan *parcel, 2*workers)
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for p := range work {
				p.out <- p.fold(r.tallies)
			}
		})
	}
	stop, read := make(chan struct{}), make(chan error, 1)
	go func() {
		read <- r.parcels(func(p *parcel) bool {
			select {
			case inOrder <- p:
			case <-stop:
				return false
			}
			work <- p
			return true
		})
		close(inOrder)
		close(work)
	}()
	for p := range inOrder {
		if f := <-p.out; err == nil {
			if err = r.take(f); err != nil {
				close(stop)
			}
		}
	}
	wg.Wait()
	return errors.Join(err, <-read, closeAll(r.byUnit)) // its memory is free for what follows
}

// parcels gives the events in parcels of whole units, until send gives false.
// Those of units that were ever joined it keeps.
func (r *rebuild) parcels(send func(*parcel) bool) error {
	p, stopped := new(parcel), false
	flush := func() {
		if len(p.units) > 0 && !stopped {
			p.out = make(chan *folded, 1)
			stopped = !send(p)
			p = &parcel{arena: make([]byte, 0, len(p.arena)+perParcel/8)}
		}
	}
	err := eachOf(r.byUnit, func(key, value []byte) error {
		u := events.UnitID(key)
		if _, ever := r.joined[u]; ever {
			e, err := unplaced(events.Hash(value), bytes.Clone(value[32:]))
			root := r.joined.find(u)
			r.aside[root] = append(r.aside[root], e)
			return err
		}
		if n := len(p.units); n == 0 || p.units[n-1] != u {
			if len(p.arena) >= perParcel {
				flush()
			}
			if stopped {
				return errStopped
			}
			p.units, p.ends = append(p.units, u), append(p.ends, len(p.sizes))
		}
		p.arena, p.sizes = append(p.arena, value...), append(p.sizes, len(value))
		p.ends[len(p.ends)-1] = len(p.sizes)
		return nil
	})
	if err == nil {
		flush()
	}
	if errors.Is(err, errStopped) {
		return nil // whoever stopped it says why
	}
	return err
}

var errStopped = errors.New("stopped")

// fold folds a parcel's units and counts their rows.
func (p *parcel) fold(counts *tallyMap) *folded {
	f := &folded{counts: counts}
	arena, nth := p.arena, 0
	var facts []Entry
	for i, u := range p.units {
		from, first := arena, nth
		facts = facts[:0]
		plain := true
		for ; nth < p.ends[i] && f.err == nil; nth++ {
			var e events.Event
			if e, f.err = unplaced(events.Hash(arena), arena[32:p.sizes[nth]:p.sizes[nth]]); f.err == nil {
				plain = plain && !acts(e.Kind)
				facts = append(facts, entryOf(e))
			}
			arena = arena[p.sizes[nth]:]
		}
		switch {
		case f.err != nil:
			return f
		case plain: // one unit alone, on which nothing acts, needs no resolving
			f.add(fold([]events.UnitID{u}, facts))
		default:
			f.resolve([]events.UnitID{u}, p.read(from, p.sizes[first:p.ends[i]]))
		}
	}
	return f
}

// read reads events again that were read before.
func (p *parcel) read(arena []byte, sizes []int) (evs []events.Event) {
	for _, n := range sizes {
		e, _ := unplaced(events.Hash(arena), arena[32:n:n])
		evs, arena = append(evs, e), arena[n:]
	}
	return evs
}
