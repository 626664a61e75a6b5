package eventlog

import (
	"bytes"
	"fmt"
	"io"
	"slices"

	"oldhand/events"
)

// Tx is one action being made: it reads what is saved and what the actions
// before it in the same commit will save, and collects its own events, views
// and keys. Nothing of it is on disk, and nobody else sees it, until the
// commit has returned; then all of it is. A Tx is used by one goroutine and
// not after its function has returned.
type Tx struct {
	log   *Log
	base  *layer // of the actions before, in the same commit
	layer layer
	made  []made
	taken []events.Event
	grown map[feedNo]uint64 // how far rows were taken, where a signed head must cover it
	disk  *rows             // reads events that are on disk; nil until one is
	done  bool              // no event can be added any more
}

// made is an event of this bench that has an id and no place yet.
type made struct {
	env  events.Envelope
	body events.RawBody
}

// Add makes an event of a draft and gives its id. Its place in the feed is
// given when the action is whole.
func (tx *Tx) Add(d events.Draft) (events.EventID, error) {
	if tx.done {
		return events.EventID{}, fmt.Errorf("%w, because the action is over", ErrReadOnly)
	}
	if tx.log.opt.Key.IsZero() {
		return events.EventID{}, fmt.Errorf("%w, because this folder has no bench key", ErrReadOnly)
	}
	if tx.log.retired.Load() {
		return events.EventID{}, errRetired
	}
	var random [8]byte
	if _, err := io.ReadFull(tx.log.opt.Random, random[:]); err != nil {
		return events.EventID{}, fmt.Errorf("draw an event id: %w", err)
	}
	if err := d.Validate(); err != nil {
		return events.EventID{}, err
	}
	stamp, err := tx.log.clock.Next()
	if err != nil {
		return events.EventID{}, err
	}
	env, body, err := d.Make(events.NewEventID(stamp, random))
	if err != nil {
		return events.EventID{}, err
	}
	tx.made = append(tx.made, made{env, body})
	return env.ID, nil
}

// feed is the number and the head of a feed's first branch, with what this commit
// adds.
func (tx *Tx) feed(id events.FeedID) (feedNo, events.Head, bool) {
	n, head, known := tx.log.feeds.find(id)
	for _, l := range []*layer{tx.base, &tx.layer} {
		if m, ok := l.fresh[id]; ok {
			n, known = m, true
		}
	}
	if !known {
		return tx.nextRow(), events.Head{Feed: id}, false
	}
	for _, l := range []*layer{tx.base, &tx.layer} {
		if h, ok := l.heads[n]; ok {
			head = h
		}
	}
	return n, head, true
}

// place writes an event, its feed's head and the lists it stands in.
func (tx *Tx) place(n feedNo, e events.Event) {
	l := &tx.layer
	if _, branch := l.split[n]; e.Seq == 1 && !branch {
		l.fresh[e.Feed] = n
	}
	l.runs[n] = append(l.runs[n], e)
	l.heads[n] = e.Head()
	l.list(n, e)
}

// placeRun is place of events that follow one another. Their memory is kept.
func (tx *Tx) placeRun(n feedNo, evs []events.Event) {
	l, last := &tx.layer, evs[len(evs)-1]
	if _, branch := l.split[n]; evs[0].Seq == 1 && !branch {
		l.fresh[last.Feed] = n
	}
	if have := l.runs[n]; have != nil {
		l.runs[n] = append(have, evs...)
	} else {
		l.runs[n] = evs[:len(evs):len(evs)]
	}
	l.heads[n] = last.Head()
	for i := range evs {
		l.list(n, evs[i])
	}
}

// seal gives the made events their places and lets the projector follow.
func (tx *Tx) seal() error {
	tx.done = true
	evs := tx.taken
	if len(tx.made) > 0 {
		own, err := tx.placeOwn()
		if err != nil {
			return err
		}
		evs = append(evs, own...)
	}
	if len(evs) == 0 || !tx.log.Follows() {
		return nil
	}
	return tx.log.opt.Projector.Project(tx, evs)
}

func (tx *Tx) placeOwn() ([]events.Event, error) {
	if tx.layer.doubtful {
		if err := tx.jumpCounters(); err != nil {
			return nil, err
		}
	}
	if !tx.layer.begun {
		if err := tx.beginFeed(); err != nil {
			return nil, err
		}
	}
	placed := make([]events.Event, 0, len(tx.made))
	for _, m := range tx.made {
		e, err := tx.placeNext(m)
		if err != nil {
			return nil, err
		}
		placed = append(placed, e)
	}
	return placed, nil
}

func (tx *Tx) placeNext(m made) (events.Event, error) {
	head := tx.ownHead()
	record, err := events.EncodeRecord(m.env, m.body)
	if err != nil {
		return events.Event{}, err
	}
	e, err := events.Link(head, record)
	if err != nil {
		return e, err
	}
	tx.place(tx.layer.own, e)
	return e, nil
}

func (tx *Tx) ownHead() events.Head {
	h, _ := tx.headOf(tx.layer.own)
	return h
}

// Get reads a view. It gives nil where there is none.
func (tx *Tx) Get(k []byte) ([]byte, error) { return tx.raw(viewKey(k)) }

// Put writes a view, also one without a value. The value is kept, not copied.
func (tx *Tx) Put(k, v []byte) {
	if v == nil {
		v = []byte{} // nil is how a layer says deleted
	}
	tx.layer.put(viewKey(k), v)
}

// Delete takes a view away.
func (tx *Tx) Delete(k []byte) { tx.layer.put(viewKey(k), nil) }

// added is an event of this action or of those before it in the same commit.
func (tx *Tx) added(n feedNo, seq uint64) (events.Event, bool) {
	for _, l := range []*layer{&tx.layer, tx.base} {
		if e, ok := l.event(n, seq); ok {
			return e, true
		}
	}
	return events.Event{}, false
}

// saved reads events that are on disk, which no commit changes during an action.
func (tx *Tx) saved() *rows {
	if tx.disk == nil {
		tx.disk = tx.newRows()
	}
	return tx.disk
}

func (tx *Tx) newRows() *rows {
	t := &tx.log.feeds
	return &rows{from: tx.log.db, spacing: tx.log.spacing, base: t.base, head: func(n feedNo) (events.Head, bool, error) {
		h, ok := t.head(n)
		return h, ok, nil
	}}
}

// event reads an event through this action; false where its row has no such event.
func (tx *Tx) event(n feedNo, seq uint64) (events.Event, bool, error) {
	return tx.eventBy(tx.saved(), n, seq)
}

func (tx *Tx) eventBy(saved *rows, n feedNo, seq uint64) (events.Event, bool, error) {
	e, ok := tx.added(n, seq)
	if !ok {
		return saved.event(n, seq)
	}
	before, _ := e.Before()
	e, err := events.Reread(before, bytes.Clone(e.Record), e.Hash)
	if err != nil {
		return e, false, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return e, true, nil
}

// hash is that of an event through this action; false where its row has no such
// event.
func (tx *Tx) hash(n feedNo, seq uint64) (events.Hash, bool, error) {
	if e, ok := tx.added(n, seq); ok {
		return e.Hash, true, nil
	}
	return tx.saved().hash(n, seq)
}

// record is that of an event that is here, as it stands and without a check.
func (tx *Tx) record(n feedNo, seq uint64) ([]byte, error) {
	if e, ok := tx.added(n, seq); ok {
		return e.Record, nil
	}
	v, err := get(tx.log.db, eventKey(n, seq))
	if err != nil {
		return nil, err
	}
	if v == nil {
		return nil, fmt.Errorf("event %d is not here: %w", seq, ErrDamaged)
	}
	_, record, err := tx.log.spacing.split(seq, v)
	return record, err
}

// raw reads a whole key, which is no event's, through this action, those before it,
// and the disk.
func (tx *Tx) raw(k []byte) ([]byte, error) {
	if v, ok := tx.changed(k); ok {
		return v, nil
	}
	return get(tx.log.db, k)
}

// changed reads a whole key that this action or those before it changed; false where
// they did not.
func (tx *Tx) changed(k []byte) ([]byte, bool) {
	for _, l := range []*layer{&tx.layer, tx.base} {
		if v, ok := l.get(k); ok {
			return v, true
		}
	}
	return nil, false
}

// Scan calls fn with the views from lo to below hi in the order of their keys,
// until fn gives false.
func (tx *Tx) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	over := tx.overlay(string(viewKey(lo)), string(viewKey(hi)))
	i, more := 0, true
	var err error
	emit := func(k, v []byte) (bool, error) {
		if v == nil {
			return true, nil
		}
		return fn(k[1:], v)
	}
	scanErr := scan(tx.log.db, viewKey(lo), viewKey(hi), func(k, v []byte) (bool, error) {
		for ; i < len(over) && over[i].k < string(k) && more && err == nil; i++ {
			more, err = emit([]byte(over[i].k), over[i].v)
		}
		if !more || err != nil {
			return false, err
		}
		if i < len(over) && over[i].k == string(k) {
			v = over[i].v
			i++
		}
		more, err = emit(k, v)
		return more, err
	})
	if scanErr != nil {
		return scanErr
	}
	for ; i < len(over) && more && err == nil; i++ {
		more, err = emit([]byte(over[i].k), over[i].v)
	}
	return err
}

type change struct {
	k string
	v []byte
}

// overlay is the changes between two keys, in order.
func (tx *Tx) overlay(lo, hi string) []change {
	found := map[string][]byte{}
	for _, l := range []*layer{tx.base, &tx.layer} {
		if b := beginning(lo); b == beginning(hi) && !l.begin[b] {
			continue
		}
		for k, v := range l.puts {
			if k >= lo && k < hi {
				found[k] = v
			}
		}
	}
	over := make([]change, 0, len(found))
	for k, v := range found {
		over = append(over, change{k, v})
	}
	slices.SortFunc(over, func(a, b change) int { return bytes.Compare([]byte(a.k), []byte(b.k)) })
	return over
}

// Events are the events listed under a subject, in no particular order.
func (tx *Tx) Events(subject [16]byte) ([]events.Event, error) {
	list, err := tx.list(subject)
	if err != nil {
		return nil, err
	}
	return readEvents(list, listing{tx.event, tx.log.feeds.counts})
}

// EventsOf is Events of several subjects, which are read side by side.
func (tx *Tx) EventsOf(subjects [][16]byte) ([][]events.Event, error) {
	evs := make([][]events.Event, len(subjects))
	err := inShares(len(subjects), fewSubjects, func(from, to int) error {
		return tx.eventsOf(subjects[from:to], evs[from:to])
	})
	return evs, err
}

// fewSubjects are too few to be worth a goroutine.
const fewSubjects = 64

// eventsOf reads a share of EventsOf, on a goroutine of its own.
func (tx *Tx) eventsOf(subjects [][16]byte, into [][]events.Event) error {
	lists, err := tx.lists(subjects)
	if err != nil {
		return err
	}
	r := tx.newRows()
	return r.together(func() error {
		evs, err := readLists(lists, listing{func(n feedNo, seq uint64) (events.Event, bool, error) { return tx.eventBy(r, n, seq) }, tx.log.feeds.counts})
		copy(into, evs)
		return err
	})
}

func (tx *Tx) list(subject [16]byte) ([]byte, error) {
	list, err := get(tx.log.db, subjectKey(subject))
	return slices.Concat(list, tx.base.lists[subject], tx.layer.lists[subject]), err
}
