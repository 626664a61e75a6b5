package eventlog

import (
	"bytes"
	"fmt"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// rows reads single events of the store, or of a snapshot of it, and remembers the
// group that it read last: who asks for events that lie beside one another reads it
// once. It is of one goroutine, and good while what it reads from stays as it is.
type rows struct {
	from    reader
	spacing spacing
	base    func(feedNo) base
	head    func(feedNo) (events.Head, bool, error)

	n    feedNo // of the group
	last group
	read bool // there is one

	it *pebble.Iterator // over events, during together; nil otherwise
}

// together lets fn read events with one iterator, which is best where it reads many and
// in their order.
func (r *rows) together(fn func() error) error {
	return r.overEvents(func(it *pebble.Iterator) error {
		r.it = it
		defer func() { r.it = nil }()
		return fn()
	})
}

func (r *rows) overEvents(fn func(*pebble.Iterator) error) error {
	if r.it != nil {
		return fn(r.it)
	}
	return between(r.from, []byte{famEvent}, []byte{famEvent + 1}, fn)
}

// load has the group of an event read and checked; false where its row has no such
// event.
func (r *rows) load(n feedNo, seq uint64) (bool, error) {
	if r.read && r.n == n && r.last.has(seq) {
		return true, nil
	}
	r.read = false
	head, ok, err := r.head(n)
	u := run{n: n, base: r.base(n), row: head, from: seq, upTo: seq}
	if err != nil || !ok || seq > head.Seq || seq <= u.base.head.Seq {
		return false, err
	}
	err = r.overEvents(func(it *pebble.Iterator) error {
		return r.spacing.groups(it, u, &r.last, func() (bool, error) { return false, nil })
	})
	r.n, r.read = n, err == nil && r.last.has(seq)
	if err == nil && !r.read {
		err = notHere(head.Feed, seq)
	}
	return r.read, err
}

// event reads an event; false where its row has no such event.
func (r *rows) event(n feedNo, seq uint64) (e events.Event, ok bool, err error) {
	if ok, err = r.load(n, seq); !ok {
		return e, false, err
	}
	e, err = r.last.event(seq, bytes.Clone(r.last.record(seq)))
	return e, err == nil, err
}

// hash is that of an event; false where its row has no such event. One that is kept
// with its event is taken as it stands.
func (r *rows) hash(n feedNo, seq uint64) (h events.Hash, ok bool, err error) {
	if !r.spacing.keeps(seq) {
		if ok, err = r.load(n, seq); ok {
			h = r.last.hash(seq)
		}
		return h, ok, err
	}
	v, err := get(r.from, eventKey(n, seq))
	if err != nil || v == nil {
		return h, false, err
	}
	h, _, err = r.spacing.split(seq, v)
	return h, err == nil, err
}

// notHere says that an event which should be here is not.
func notHere(f events.FeedID, seq uint64) error {
	return fmt.Errorf("feed %s: event %d is not here: %w", f.Short(), seq, ErrDamaged)
}

// rows reads of what a view holds.
func (v *View) rows() *rows {
	return &rows{from: v.snap, spacing: v.spacing, base: v.log.feeds.base, head: v.row}
}

// rowIn is how far a row goes in the store or in a snapshot of it.
func rowIn(r reader, n feedNo) (h events.Head, ok bool, err error) {
	val, err := get(r, feedKey(famFeed, n))
	if err != nil || val == nil {
		return h, false, err
	}
	h, err = readFeedValue(val)
	return h, true, err
}

// row is a feed's head in this view.
func (v *View) row(n feedNo) (events.Head, bool, error) { return rowIn(v.snap, n) }
