package projections

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Source gives every event of a log, as often as it is asked, the bytes good
// until the function returns.
type Source func(fn func(events.Event) error) error

// Sink takes the views of a rebuild, each key once, in no order.
type Sink func(k, v []byte) error

// perPass is how many events a rebuild holds in memory at once, with what it
// makes of them. A longer log is gone through once for each such share of its
// units.
const perPass = 300_000

// Rebuild makes all views from all events. Total is the number of events,
// which decides in how many passes.
func Rebuild(src Source, total uint64, sink Sink) error {
	passes := int(total/perPass) + 1
	joined := units{}
	if passes > 1 {
		// Which units share a pass has to be known before the first.
		if err := everJoined(src, joined); err != nil {
			return err
		}
	}
	tallies := tallyMap{}
	for pass := range passes {
		share, err := gather(src, joined, pass, passes)
		if err != nil {
			return err
		}
		if err := share.fold(joined, tallies, sink); err != nil {
			return err
		}
	}
	return tallies.write(sink)
}

// everJoined is which units have ever been named as one, also where that was
// taken back: such units are folded together, and the fold says which of them
// are one.
func everJoined(src Source, u units) error {
	return src(func(e events.Event) error {
		u.named(e)
		return nil
	})
}

// named joins the units that an event names together.
func (u units) named(e events.Event) {
	if other, ok := e.OtherUnit(); ok {
		u.join(e.Unit(), other)
	}
}

// share is the events of some of the units and persons.
type share struct {
	byUnit  map[events.UnitID][]events.Event
	persons map[events.PersonID][]byte // rows
	orders  map[string]bool            // rows of orders to forget
	arena   []byte
}

func gather(src Source, joined units, pass, passes int) (*share, error) {
	s := &share{byUnit: map[events.UnitID][]events.Event{}, persons: map[events.PersonID][]byte{}, orders: map[string]bool{}}
	mine := func(id [16]byte) bool { return int(binary.BigEndian.Uint16(id[14:]))%passes == pass }
	err := src(func(e events.Event) error {
		switch subjectOf(e) {
		case events.OfPerson:
			if mine(e.About) {
				s.keepPerson(e)
			}
		case events.OfUnit:
			joined.named(e)
			if passes == 1 || mine(joined.find(e.Unit())) {
				s.byUnit[e.Unit()] = append(s.byUnit[e.Unit()], s.copyOf(e))
			}
		}
		return nil
	})
	return s, err
}

func (s *share) keepPerson(e events.Event) {
	if k := orderKey(e); k != nil {
		s.orders[string(k)] = true
	}
	p := events.PersonID(e.About)
	if row := personRow(e); row != nil && bytes.Compare(s.persons[p], row) < 0 {
		s.persons[p] = row
	}
}

// copyOf gives an event memory that lasts as long as the share.
func (s *share) copyOf(e events.Event) events.Event {
	if cap(s.arena)-len(s.arena) < len(e.Record) {
		s.arena = make([]byte, 0, max(1<<20, len(e.Record)))
	}
	from := len(s.arena)
	s.arena = append(s.arena, e.Record...)
	return e.Copied(s.arena[from:len(s.arena):len(s.arena)])
}

// fold folds all units of a share on as many goroutines as there are
// processors and hands their views to the sink from one.
func (s *share) fold(joined units, tallies tallyMap, sink Sink) error {
	for p, row := range s.persons {
		if err := sink(personKey(p), row); err != nil {
			return err
		}
	}
	for k := range s.orders {
		if err := sink([]byte(k), []byte{}); err != nil {
			return err
		}
	}
	groups := s.groups(joined)
	work, done := make(chan [][]events.UnitID), make(chan *folded, 2)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for some := range work {
				done <- s.foldSome(some)
			}
		})
	}
	go func() {
		for some := range slices.Chunk(groups, 512) {
			work <- some
		}
		close(work)
		wg.Wait()
		close(done)
	}()
	var err error
	for f := range done {
		err = errors.Join(err, f.err)
		if err == nil {
			err = f.write(tallies, sink)
		}
	}
	return err
}

// groups are the units of the share, those ever joined together, in order.
func (s *share) groups(joined units) [][]events.UnitID {
	byRoot := map[events.UnitID][]events.UnitID{}
	var roots []events.UnitID
	put := func(id events.UnitID) {
		root := joined.find(id)
		if byRoot[root] == nil {
			roots = append(roots, root)
		}
		byRoot[root] = append(byRoot[root], id)
	}
	for id := range s.byUnit {
		put(id)
	}
	for id := range joined {
		if root := joined.find(id); byRoot[root] != nil && s.byUnit[id] == nil {
			put(id)
		}
	}
	slices.SortFunc(roots, events.UnitID.Compare)
	groups := make([][]events.UnitID, 0, len(roots))
	for _, r := range roots {
		groups = append(groups, byRoot[r])
	}
	return groups
}

// folded is the views of some units.
type folded struct {
	keys, values [][]byte
	rows         tallyMap
	err          error
}

func (s *share) foldSome(groups [][]events.UnitID) *folded {
	f := &folded{rows: tallyMap{}}
	for _, g := range groups {
		for _, h := range s.histories(g) {
			f.add(h)
		}
	}
	return f
}

// histories folds units that were ever joined. One unit alone, on which
// nothing acts, needs no resolving.
func (s *share) histories(ids []events.UnitID) []*History {
	if len(ids) == 1 {
		if h := s.simple(ids[0]); h != nil {
			return []*History{h}
		}
	}
	loaded := map[events.UnitID]bool{}
	var evs []events.Event
	for _, id := range ids {
		loaded[id] = true
		evs = append(evs, s.byUnit[id]...)
	}
	cs, _ := components(loaded, evs) // nothing is missing: ids holds all that joins reach
	var hs []*History
	for _, c := range cs {
		if h := c.history(); h != nil {
			hs = append(hs, h)
		}
	}
	return hs
}

func (s *share) simple(u events.UnitID) *History {
	evs := s.byUnit[u]
	facts := make([]Entry, 0, len(evs))
	for _, e := range evs {
		if acts(e.Kind) {
			return nil
		}
		facts = append(facts, entryOf(e))
	}
	return fold([]events.UnitID{u}, facts)
}

// acts reports whether events of a kind act on other events or join units, so
// that their unit is not folded from its own facts alone.
func acts(k events.Kind) bool {
	return k.Joins() || k == events.KindCorrected || k == events.KindWithdrawn || k == events.KindSettled
}

func (f *folded) put(k, v []byte) {
	f.keys, f.values = append(f.keys, k), append(f.values, v)
}

func (f *folded) add(h *History) {
	f.put(historyKey(h.Root), h.bytes())
	for _, m := range h.Members[1:] {
		f.put(historyKey(m), redirect(h.Root))
	}
	for _, k := range terms(h) {
		f.put(k, nil)
	}
	for _, q := range tallied {
		for _, r := range q.rows(h) {
			f.rows[string(tallyKey(q.ID, r))]++
		}
	}
}

func (f *folded) write(tallies tallyMap, sink Sink) error {
	for k, n := range f.rows {
		tallies[k] += n
	}
	for i, k := range f.keys {
		if err := sink(k, f.values[i]); err != nil {
			return err
		}
	}
	return nil
}

// tallyMap counts rows by the key of their tally.
type tallyMap map[string]uint64

func (t tallyMap) write(sink Sink) error {
	for k, n := range t {
		if err := sink([]byte(k), binary.AppendUvarint(nil, n)); err != nil {
			return err
		}
	}
	return nil
}

// RebuildStore writes a store's views anew.
func RebuildStore(l *eventlog.Log) error {
	var total uint64
	for _, b := range l.Branches() {
		total += b.Own()
	}
	return l.Rewrite(Version, func(b *eventlog.Bulk) error {
		return Rebuild(b.Events, total, b.Put)
	})
}

// Digest stands for a set of views, in whatever order they were added: the sum
// of the hashes of all, for each family of keys on its own.
type Digest map[byte]*[4]uint64

// Add adds one view.
func (d Digest) Add(k, v []byte) error {
	if len(k) == 0 {
		return errView
	}
	sum := d[k[0]]
	if sum == nil {
		sum = new([4]uint64)
		d[k[0]] = sum
	}
	buf := binary.AppendUvarint(make([]byte, 0, len(k)+len(v)+4), uint64(len(k)))
	h := sha256.Sum256(append(append(buf, k...), v...))
	for i := range sum {
		sum[i] += binary.LittleEndian.Uint64(h[i*8:])
	}
	return nil
}

// Differs names the families in which two sets differ.
func (d Digest) Differs(o Digest) []string {
	var names []string
	for _, f := range families {
		a, b := d[f.key], o[f.key]
		if (a == nil) != (b == nil) || a != nil && *a != *b {
			names = append(names, f.name)
		}
	}
	return names
}

// String is one hash of all sums.
func (d Digest) String() string {
	var b []byte
	for _, f := range families {
		b = append(b, f.key)
		if s := d[f.key]; s != nil {
			for _, n := range s {
				b = binary.LittleEndian.AppendUint64(b, n)
			}
		}
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

var families = []struct {
	key  byte
	name string
}{{'g', "serial fragments"}, {'h', "histories"}, {'l', "lookup words"}, {'o', "orders to forget"}, {'p', "persons"}, {'t', "tallies"}}

// DigestViews sums up the views as they are kept.
func DigestViews(r Reader) (Digest, error) {
	d := Digest{}
	err := r.Scan([]byte{0}, []byte{0xff}, func(k, v []byte) (bool, error) { return true, d.Add(k, v) })
	if err != nil {
		return nil, fmt.Errorf("digest of the projections: %w", err)
	}
	return d, nil
}
