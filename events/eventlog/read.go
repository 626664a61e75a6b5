package eventlog

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// reader is what the store and a snapshot of it have in common.
type reader interface {
	Get(key []byte) ([]byte, io.Closer, error)
	NewIter(o *pebble.IterOptions) (*pebble.Iterator, error)
}

// get reads a copy of a value, nil where there is none.
func get(r reader, k []byte) ([]byte, error) {
	v, closer, err := r.Get(k)
	if errors.Is(err, pebble.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, readError(err)
	}
	c := append(make([]byte, 0, len(v)), v...)
	return c, closer.Close()
}

func readError(err error) error {
	if corrupt(err) {
		return errorsJoin(ErrDamaged, "", err)
	}
	return err
}

// scan calls fn with the pairs from lo to below hi until it gives false. Key
// and value are the iterator's and change with the next pair.
func scan(r reader, lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	return between(r, lo, hi, func(it *pebble.Iterator) error {
		for ok := it.First(); ok; ok = it.Next() {
			v, err := it.ValueAndErr()
			if err != nil {
				return readError(err)
			}
			if more, err := fn(it.Key(), v); err != nil || !more {
				return err
			}
		}
		return readError(it.Error())
	})
}

// between has fn go over the pairs from lo to below hi.
func between(r reader, lo, hi []byte, fn func(*pebble.Iterator) error) (err error) {
	it, err := r.NewIter(&pebble.IterOptions{LowerBound: lo, UpperBound: hi})
	if err != nil {
		return readError(err)
	}
	defer func() {
		if closing := it.Close(); err == nil { // it gives the error of reading again
			err = readError(closing)
		}
	}()
	return fn(it)
}

// listing is what it takes to read the events of a list.
type listing struct {
	event  func(feedNo, uint64) (events.Event, bool, error)
	counts func(feedNo, uint64) bool
}

// readEvents reads the events of a list that count, in its order.
func readEvents(list []byte, in listing) ([]events.Event, error) {
	evs, err := readLists([][]byte{list}, in)
	if err != nil {
		return nil, err
	}
	return evs[0], nil
}

// readLists reads the events of several lists that count, each in its order. All are
// read in the order that they stand in, so that those of one group are read with it.
func readLists(lists [][]byte, in listing) ([][]events.Event, error) {
	type place struct {
		ref
		list, i int
	}
	var places []place
	evs := make([][]events.Event, len(lists))
	for n, list := range lists {
		refs, err := readRefs(list)
		if err != nil {
			return nil, err
		}
		refs = slices.DeleteFunc(refs, func(r ref) bool { return !in.counts(r.feed, r.seq) })
		evs[n] = make([]events.Event, len(refs))
		for i, r := range refs {
			places = append(places, place{r, n, i})
		}
	}
	slices.SortFunc(places, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.feed, b.feed), cmp.Compare(a.seq, b.seq))
	})
	for _, p := range places {
		e, err := in.listed(p.ref)
		if err != nil {
			return nil, err
		}
		evs[p.list][p.i] = e
	}
	return evs, nil
}

// listed reads an event of a list.
func (in listing) listed(r ref) (events.Event, error) {
	e, ok, err := in.event(r.feed, r.seq)
	if err == nil && !ok {
		err = fmt.Errorf("event %d of row %d is listed and not here: %w", r.seq, r.feed, ErrDamaged)
	}
	return e, err
}

// View is the log as it was after one commit: all of it on disk, nothing of a
// later one. It must be closed.
type View struct {
	log    *Log
	snap   *pebble.Snapshot
	commit uint64
	refs   atomic.Int32
	blind  bool // see Blind

	spacing spacing // of the events in it
}

// Commit numbers what was committed since the log was opened: two views of one
// log with the same number show the same.
func (v *View) Commit() uint64 { return v.commit }

// published holds the newest view. Readers take it, never the store itself, so
// that nothing is seen before it is durable.
type published struct {
	mu  sync.Mutex
	now *View
	nth uint64
	old []*View // those before it that are not given back yet

	writes lastWrites
	new    chan struct{}  // closed when there is a newer view; nil while nobody waits
	out    sync.WaitGroup // views that are not given back by all who hold them
}

// publish takes a view of what was just committed: under which beginnings of keys
// that was, nil for anything.
func (p *published) publish(l *Log, begin map[[3]byte]bool) {
	p.next(l, begin)
	p.giveBack()
}

// next is publish, but for giving the view before back. That costs what a tenth of a
// sync does, so whoever waits for a commit is answered before.
func (p *published) next(l *Log, begin map[[3]byte]bool) {
	v := &View{log: l, snap: l.db.NewSnapshot(), spacing: l.spacing}
	v.refs.Store(1)
	p.out.Add(1)
	p.mu.Lock()
	if p.now != nil {
		p.old = append(p.old, p.now)
	}
	p.nth++
	v.commit = p.nth
	p.writes.note(p.nth, begin)
	p.now = v
	if p.new != nil {
		close(p.new)
		p.new = nil
	}
	p.mu.Unlock()
}

// giveBack gives the views back that are not the newest any more.
func (p *published) giveBack() {
	p.mu.Lock()
	old := p.old
	p.old = nil
	p.mu.Unlock()
	for _, v := range old {
		v.Close()
	}
}

func (p *published) shut() {
	p.mu.Lock()
	if p.now != nil {
		p.old = append(p.old, p.now)
	}
	p.now = nil
	p.mu.Unlock()
	p.giveBack()
}

// given waits until all views are given back, and reports whether they were.
func (p *published) given(within time.Duration) bool {
	done := make(chan struct{})
	go func() {
		p.out.Wait()
		close(done)
	}()
	select {
	case <-done:
		return true
	case <-time.After(within):
		return false
	}
}

// View gives the log as last committed.
func (l *Log) View() (*View, error) {
	l.pub.mu.Lock()
	defer l.pub.mu.Unlock()
	if l.pub.now == nil {
		return nil, ErrClosed
	}
	l.pub.now.refs.Add(1)
	return l.pub.now, nil
}

// Changed is closed at the next commit. Whoever waits for one asks first, then
// looks, then waits, and misses none.
func (l *Log) Changed() <-chan struct{} {
	l.pub.mu.Lock()
	defer l.pub.mu.Unlock()
	if l.pub.new == nil {
		l.pub.new = make(chan struct{})
	}
	return l.pub.new
}

// Close gives the view back. On a dead handle the store keeps the snapshot:
// it may hold its locks for ever.
func (v *View) Close() {
	if v.refs.Add(-1) == 0 {
		_ = v.log.failure.run(v.log.opt.Deadline, "give a view back", v.snap.Close)
		v.log.pub.out.Done()
	}
}

// Get reads a projection's view. It gives nil where there is none.
func (v *View) Get(k []byte) ([]byte, error) { return get(v.snap, viewKey(k)) }

// Scan calls fn with the projections' views from lo to below hi in the order
// of their keys, until fn gives false. Key and value are good until fn returns.
func (v *View) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	return scan(v.snap, viewKey(lo), viewKey(hi), func(k, val []byte) (bool, error) { return fn(k[1:], val) })
}

// Events are the events listed under a subject, each checked against its hash,
// in no particular order. Those behind a cut are left out.
func (v *View) Events(subject [16]byte) ([]events.Event, error) { return v.events(subject, true) }

func (v *View) events(subject [16]byte, counted bool) ([]events.Event, error) {
	list, err := get(v.snap, subjectKey(subject))
	if err != nil {
		return nil, err
	}
	counts := v.log.feeds.counts
	if !counted {
		counts = func(feedNo, uint64) bool { return true }
	}
	return readEvents(list, v.listing(counts))
}

// Event is the event listed under a subject that has an id, checked against its hash;
// false where none has. What came last is looked at first. Where several have it, which
// no honest bench does, it is the last that Events gives.
func (v *View) Event(subject [16]byte, id events.EventID) (e events.Event, ok bool, err error) {
	list, err := get(v.snap, subjectKey(subject))
	if err != nil {
		return e, false, err
	}
	refs, err := readRefs(list)
	if err != nil {
		return e, false, err
	}
	in := v.listing(v.log.feeds.counts)
	for _, r := range slices.Backward(refs) {
		if !in.counts(r.feed, r.seq) {
			continue
		}
		if e, err = in.listed(r); err != nil {
			return e, false, err
		}
		if e.ID == id {
			return e, true, nil
		}
	}
	return events.Event{}, false, nil
}

func (v *View) listing(counts func(feedNo, uint64) bool) listing {
	return listing{v.rows().event, counts}
}

// Feed calls fn with the events of a feed after seq, each checked against its
// hash, until fn gives false. An event may be kept. A feed that ends before its
// head is damaged. Of a feed with branches it is the one which came here first.
func (v *View) Feed(id events.FeedID, after uint64, fn func(events.Event) (bool, error)) error {
	return v.BranchEvents(First(id), after, fn)
}

// walk calls fn with a row's events after seq.
func (v *View) walk(n feedNo, after uint64, fn func(events.Event) (bool, error)) error {
	row, ok, err := v.row(n)
	if err != nil || !ok || max(after, v.log.feeds.base(n).head.Seq) >= row.Seq {
		return err
	}
	return v.stretch(stretch{n: n, row: row, after: after, upTo: row.Seq}, func(g *group, seq uint64) (bool, error) {
		e, err := g.event(seq, bytes.Clone(g.record(seq)))
		if err != nil {
			return false, err
		}
		return fn(e)
	})
}

// Heads are the heads of all branches of all feeds in this view, in no particular
// order.
func (v *View) Heads() ([]events.Head, error) {
	var heads []events.Head
	err := scan(v.snap, []byte{famFeed}, []byte{famFeed + 1}, func(_, val []byte) (bool, error) {
		h, err := readFeedValue(val)
		heads = append(heads, h)
		return true, err
	})
	return heads, err
}

// HashAt is the hash of a feed's event, false where it is not here. Of a feed with
// branches it is the one which came here first.
func (v *View) HashAt(f events.FeedID, seq uint64) (h events.Hash, ok bool, err error) {
	n, _, ok := v.log.feeds.find(f)
	if !ok {
		return h, false, nil
	}
	return v.rows().hash(n, seq)
}
