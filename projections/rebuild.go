package projections

import (
	"bytes"
	"errors"
	"maps"
	"runtime"
	"slices"
	"sync"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Source gives every event of a log, its hash and its record, as often as it is
// asked: in parts side by side, at most so many, numbered from nought and each from one
// goroutine. The record is good until the function returns.
type Source func(most int, fn func(part int, h events.Hash, record []byte) error) error

// Sink takes the views of a rebuild, each key once. Those whose keys begin with
// the same byte come in the order of their keys and from one goroutine at a time,
// except at the very end what stands for units that were joined. Key and value are
// good until the function returns.
type Sink func(k, v []byte) error

// rebuild is views being made from all events: the events are sorted by unit,
// then each unit is folded. Neither needs more memory for a longer log.
type rebuild struct {
	sink    Sink
	byUnit  []*sorter // by part; key: the unit; value: hash and record
	persons []*sorter // by part; key: the person; value: a row
	terms   *sorter
	once    *sorter                          // keys of rows that name their unit, of which no map need be kept
	aside   map[events.UnitID][]events.Event // of units that were ever joined
	tallies *tallyMap
	last    []*folded // of units that were ever joined

	mu     sync.Mutex // of what all parts gather
	joined units
	orders map[string]bool // rows of orders to forget
}

// mostParts is in how many parts events are gathered at most: what comes after them takes
// more of each processor.
const mostParts = 4

// Rebuild makes all views from all events.
func Rebuild(src Source, scratch Scratch, sink Sink) error {
	return rebuildInRuns(perRun, src, scratch, sink)
}

// rebuildInRuns is Rebuild with so many bytes of events sorted in memory at once.
func rebuildInRuns(run int, src Source, scratch Scratch, sink Sink) (err error) {
	r := &rebuild{sink: sink, joined: units{}, aside: map[events.UnitID][]events.Event{}, orders: map[string]bool{}, tallies: newTallyMap()}
	parts := min(runtime.GOMAXPROCS(0), mostParts)
	for range parts { // what they have in memory does not grow with their number
		r.byUnit = append(r.byUnit, newSorter(scratch, run/parts))
		r.persons = append(r.persons, newSorter(scratch, run/8/parts)) // a small part of all
	}
	r.terms, r.once = newSorter(scratch, run/2), newSorter(scratch, run/8)
	defer func() {
		err = errors.Join(err, closeAll(r.byUnit), closeAll(r.persons), r.terms.close(), r.once.close())
	}()
	for _, step := range []func() error{
		func() error { return src(parts, r.gather) }, r.foldUnits, r.foldJoined, r.writeCounted, r.writeJoined,
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// gather puts one event of a part where it is found by its unit.
func (r *rebuild) gather(part int, h events.Hash, record []byte) error {
	kind, about, err := events.Skim(record)
	if err != nil {
		return err
	}
	switch subjectOf(kind, about) {
	case events.OfPerson:
		e, err := unplaced(h, record)
		if err == nil {
			err = r.keepPerson(part, e)
		}
		return err
	case events.OfUnit:
		if kind.Joins() {
			e, err := unplaced(h, record)
			if err != nil {
				return err
			}
			r.mu.Lock()
			r.joined.named(e)
			r.mu.Unlock()
		}
		return r.byUnit[part].add(about[:], h[:], record)
	}
	return nil
}

// unplaced reads an event whose place in a feed does not matter.
func unplaced(h events.Hash, record []byte) (events.Event, error) {
	return events.Trusted(events.FeedID{}, 0, record, h)
}

// named joins the units that an event names together, also where that was taken
// back: such units are folded together, and the fold says which of them are one.
func (u units) named(e events.Event) {
	other, ok := e.OtherUnit()
	if !ok {
		return
	}
	u.join(e.Unit(), other)
	root := u.find(other)
	u[root] = root // so that each of them is found here
}

func (r *rebuild) keepPerson(part int, e events.Event) error {
	if k := orderKey(e); k != nil {
		r.mu.Lock()
		r.orders[string(k)] = true
		r.mu.Unlock()
	}
	if row := personRow(e); row != nil {
		return r.persons[part].add(e.About[:], row)
	}
	return nil
}

// take hands on what came of a parcel.
func (r *rebuild) take(f *folded) error {
	if f.err != nil {
		return f.err
	}
	for i, k := range f.keys {
		if err := r.sink(k, f.values[i]); err != nil {
			return err
		}
	}
	return r.keepKeys(f)
}

// keepKeys keeps the ways to find a parcel's units, and the rows that name them.
func (r *rebuild) keepKeys(f *folded) error {
	return errors.Join(r.terms.addAll(&f.terms), r.once.addAll(&f.once))
}

// foldJoined folds the units that were ever joined. Their histories stand under
// keys of which each may come before those of the others.
func (r *rebuild) foldJoined() error {
	sets := map[events.UnitID][]events.UnitID{}
	for id := range r.joined {
		root := r.joined.find(id)
		sets[root] = append(sets[root], id)
	}
	for root, evs := range r.aside {
		f := &folded{counts: r.tallies}
		f.resolve(sets[root], evs)
		if err := r.keepKeys(f); err != nil {
			return err
		}
		r.last = append(r.last, f)
	}
	r.aside = nil
	return nil
}

func (r *rebuild) writeJoined() error {
	for _, f := range r.last {
		for i, k := range f.keys {
			if err := r.sink(k, f.values[i]); err != nil {
				return err
			}
		}
	}
	return nil
}

// writeCounted writes what is known only when all units are folded, on as many
// goroutines as there are sorts of it.
func (r *rebuild) writeCounted() error {
	terms := make(chan error, 1)
	go func() { terms <- r.writeTerms() }()
	err := errors.Join(r.writePersons(), r.tallies.write(r.once.each, r.sink))
	return errors.Join(err, <-terms)
}

func (r *rebuild) writeTerms() error {
	return r.terms.each(func(k, _ []byte) error { return r.sink(k, nil) })
}

func (r *rebuild) writePersons() error {
	for _, k := range slices.Sorted(maps.Keys(r.orders)) {
		if err := r.sink([]byte(k), []byte{}); err != nil {
			return err
		}
	}
	var key, last []byte // of who comes next, and the greatest row so far
	put := func() error {
		if last == nil {
			return nil
		}
		return r.sink(key, last)
	}
	err := eachOf(r.persons, func(id, row []byte) error {
		if last != nil && bytes.Equal(id, key[1:]) {
			if bytes.Compare(last, row) < 0 {
				last = append(last[:0], row...)
			}
			return nil
		}
		err := put()
		key, last = append(append(key[:0], personClass), id...), append(last[:0], row...)
		return err
	})
	return errors.Join(err, put())
}

// acts reports whether events of a kind act on other events or join units, so
// that their unit is not folded from its own facts alone.
func acts(k events.Kind) bool {
	return k.Joins() || k == events.KindCorrected || k == events.KindWithdrawn || k == events.KindSettled
}

// folded is the views of some units.
type folded struct {
	keys, values [][]byte // histories
	terms        rowList
	once         rowList // keys of rows that name their unit
	counts       *tallyMap
	rows         rowList // of one unit to one question, while they are counted
	key          []byte  // of a tally, while it is counted
	err          error
}

// resolve folds units that may be joined, from all their events.
func (f *folded) resolve(ids []events.UnitID, evs []events.Event) {
	loaded := map[events.UnitID]bool{}
	for _, id := range ids {
		loaded[id] = true
	}
	cs, _ := components(loaded, evs) // nothing is missing: ids holds all that joins reach
	for _, c := range cs {
		if h := c.history(); h != nil {
			f.add(h)
		}
	}
}

func (f *folded) put(k, v []byte) {
	f.keys, f.values = append(f.keys, k), append(f.values, v)
}

func (f *folded) add(h *History) {
	f.put(historyKey(h.Root), h.bytes())
	for _, m := range h.Members[1:] {
		f.put(historyKey(m), redirect(h.Root))
	}
	terms(h, &f.terms)
	for _, q := range tallied {
		f.rows.clear()
		q.rows(h, &f.rows)
		f.rows.each(func(r []byte) {
			if bytes.HasSuffix(r, h.Root[:]) {
				f.once.add(append(f.once.key('t', q.ID), r...))
				return
			}
			f.key = append(append(f.key[:0], 't', q.ID), r...)
			f.counts.add(f.key, 1)
		})
	}
}

// RebuildStore writes a store's views anew.
func RebuildStore(l *eventlog.Log) error {
	return l.Rewrite(Version, func(b *eventlog.Bulk) error {
		return Rebuild(b.Records, b.Scratch, b.Put)
	})
}
