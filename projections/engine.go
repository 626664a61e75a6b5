package projections

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Version names what the views on disk were made by. It goes up whenever the
// same events would give other bytes: a store of another version is rebuilt.
const Version = "12"

// Engine keeps the views in step with the log. It has no state: all of it is
// in the store that it is given.
type Engine struct{}

// Project changes the views for events that are being appended.
func (Engine) Project(tx *eventlog.Tx, evs []events.Event) error { return Project(tx, evs) }

// Project changes the views for events that were added to a store, in any
// order and in any grouping.
func Project(to Store, evs []events.Event) error {
	s := &projecting{Store: to, tallies: map[string]int64{}}
	byUnit := map[events.UnitID][]events.Event{}
	var order []events.UnitID
	for _, e := range evs {
		switch subjectOf(e.Kind, e.About) {
		case events.OfUnit:
			for _, u := range unitsOf(e) {
				if byUnit[u] == nil {
					order = append(order, u)
				}
				byUnit[u] = append(byUnit[u], e)
			}
		case events.OfPerson:
			if err := recordPerson(s, e); err != nil {
				return err
			}
		}
	}
	slices.SortFunc(order, events.UnitID.Compare)
	for _, u := range order {
		if err := projectUnit(s, u, byUnit[u]); err != nil {
			return fmt.Errorf("unit %s: %w", u, err)
		}
	}
	return s.count()
}

// projecting is the store while events are added to its views, and by how much
// each tally changes. Many units change the same tallies; each is read and
// written once, at the end.
type projecting struct {
	Store
	tallies map[string]int64
}

// count writes the tallies. Where rows went from one unit to another and none came
// out with another count, one is written as it is: whoever keeps what is made of
// some units' rows sees by that that they changed (rowsOnly).
func (s *projecting) count() error {
	written := map[byte]bool{}
	// In order, so that neighbours are read from one block.
	keys := slices.Sorted(maps.Keys(s.tallies))
	for _, anyway := range []bool{false, true} {
		for rest := keys; len(rest) > 0; {
			n, changed := s.sameKey(rest)
			question := rest[0][1]
			if anyway && !written[question] || !anyway && changed {
				written[question] = true
				if err := s.countOf(rest[:n]); err != nil {
					return fmt.Errorf("question %d: %w", question, err)
				}
			}
			rest = rest[n:]
		}
	}
	return nil
}

// sameKey is how many of some rows, from the first on, stand under one key, and
// whether one of them is counted otherwise than before.
func (s *projecting) sameKey(rows []string) (n int, changed bool) {
	head, _ := headIn([]byte(rows[0]))
	for n < len(rows) && strings.HasPrefix(rows[n], rows[0][:head]) && (n == 0 || head < len(rows[0])) {
		changed = changed || s.tallies[rows[n]] != 0
		n++
	}
	return n, changed
}

// countOf writes the tallies of rows that stand under one key.
func (s *projecting) countOf(rows []string) error {
	if head, inBlock := headIn([]byte(rows[0])); inBlock {
		return countTogether(s, rows, head, s.tallies)
	}
	return count(s, []byte(rows[0]), s.tallies[rows[0]])
}

// unitsOf are the units whose histories an event has a part in: for a join or
// a parting both.
func unitsOf(e events.Event) []events.UnitID {
	if other, ok := e.OtherUnit(); ok && other != e.Unit() {
		return []events.UnitID{e.Unit(), other}
	}
	return []events.UnitID{e.Unit()}
}

// subjectOf says what an event is about. Of an unknown kind it is a unit, if
// anything: most are, and a unit's history can show that it can't be read.
func subjectOf(k events.Kind, about [16]byte) events.Subject {
	if r, ok := events.FindKind(k); ok {
		return r.Subject
	}
	return choose(about == [16]byte{}, events.OfShop, events.OfUnit)
}

// projectUnit adds events of one unit: onto the history as it is where they
// simply come next, else by folding all of the unit's events again.
func projectUnit(s *projecting, u events.UnitID, evs []events.Event) error {
	h, err := Load(s, u)
	if err != nil {
		return err
	}
	which := changedBy(evs)
	before := contribute(h, which)
	if h == nil {
		h = &History{Root: u, Members: []events.UnitID{u}}
	}
	if !h.extend(evs) {
		return refold(s, u, h.Members)
	}
	return swap(s, before, h, which)
}

// extend adds events to a history if that is what folding would do. If not,
// the history is spoilt but for its members.
func (h *History) extend(evs []events.Event) bool {
	next := make([]Entry, 0, len(evs))
	for _, e := range evs {
		if acts(e.Kind) {
			return false
		}
		next = append(next, entryOf(e))
	}
	slices.SortFunc(next, func(a, b Entry) int { return a.place().compare(b.place()) })
	for _, e := range next {
		if !h.follows(e) {
			return false
		}
		h.apply(e)
	}
	return true
}

// refold folds anew every physical unit that a unit's events have to do with.
func refold(s *projecting, u events.UnitID, members []events.UnitID) error {
	g := gathering{store: s, loaded: map[events.UnitID]bool{}}
	missing := append([]events.UnitID{u}, members...)
	for {
		for len(missing) > 0 {
			more, err := g.load(missing[0])
			if err != nil {
				return err
			}
			missing = append(missing[1:], more...)
		}
		var cs []component
		if cs, missing = components(g.loaded, g.evs); len(missing) == 0 {
			return g.replace(cs)
		}
	}
}

// gathering is what has been read for a refold.
type gathering struct {
	store  *projecting
	loaded map[events.UnitID]bool
	evs    []events.Event
	olds   []contribution
}

// load reads a unit's events and the history it stands in now, and gives the
// other units of that history.
func (g *gathering) load(id events.UnitID) (members []events.UnitID, err error) {
	if g.loaded[id] {
		return nil, nil
	}
	g.loaded[id] = true
	more, err := g.store.Events(id)
	if err != nil {
		return nil, err
	}
	g.evs = append(g.evs, more...)
	h, err := Load(g.store, id)
	if err != nil || h == nil {
		return nil, err
	}
	if !slices.ContainsFunc(g.olds, func(o contribution) bool { return o.members[0] == h.Root }) {
		g.olds = append(g.olds, contribute(h, allViews))
	}
	return h.Members, nil
}

// replace takes the old histories out and puts components in.
func (g *gathering) replace(cs []component) error {
	for _, old := range g.olds {
		if err := swap(g.store, old, nil, allViews); err != nil {
			return err
		}
	}
	for _, c := range cs {
		if err := swap(g.store, contribution{}, c.history(), allViews); err != nil {
			return err
		}
	}
	return nil
}

func tallyKey(q byte, row []byte) []byte {
	return append(append(make([]byte, 0, 2+len(row)), 't', q), row...)
}

func count(s Store, k []byte, by int64) error {
	v, err := s.Get(k)
	if err != nil {
		return err
	}
	var n uint64
	if v != nil {
		var size int
		if n, size = binary.Uvarint(v); size <= 0 {
			return errView
		}
	}
	switch total := int64(n) + by; {
	case total < 0:
		return fmt.Errorf("a tally would fall below nothing: %w", errView)
	case total == 0:
		s.Delete(k)
	default:
		s.Put(k, binary.AppendUvarint(nil, uint64(total)))
	}
	return nil
}

// historyKey is where a unit id's history stands, or, where the id was joined to
// an older one, the id it stands under. One key for both means one read to find
// a history.
func historyKey(u events.UnitID) []byte {
	return append(append(make([]byte, 0, 17), 'h'), u[:]...)
}

// The first byte of what stands there.
const (
	isHistory  = 1
	isRedirect = 0
)

func redirect(root events.UnitID) []byte {
	return append(append(make([]byte, 0, 17), isRedirect), root[:]...)
}

// personClass is the first byte of the keys of persons' sealed names.
const personClass = 'p'

func personKey(p events.PersonID) []byte { return append([]byte{personClass}, p[:]...) }

// Load reads the history that a unit id belongs to, its own or that of the
// unit it was joined to; nil where there is none.
func Load(r Reader, u events.UnitID) (*History, error) {
	v, err := r.Get(historyKey(u))
	if err != nil || v == nil {
		return nil, err
	}
	if len(v) == 17 && v[0] == isRedirect {
		if v, err = r.Get(historyKey(events.UnitID(v[1:]))); err != nil || v == nil {
			return nil, err
		}
	}
	return readHistory(v)
}

// recordPerson keeps the latest that is known of a customer, still sealed.
func recordPerson(s Store, e events.Event) error {
	if k := orderKey(e); k != nil {
		s.Put(k, nil)
		return nil
	}
	row := personRow(e)
	if row == nil {
		return nil
	}
	k := personKey(events.PersonID(e.About))
	have, err := s.Get(k)
	if err == nil && bytes.Compare(have, row) < 0 {
		s.Put(k, row)
	}
	return err
}

// personRow is what is kept of a customer's record, the greatest of all that
// there are: the latest, and, where a forger gave one id twice, always the same
// one. Nil for any other event and for what a newer version wrote.
func personRow(e events.Event) []byte {
	if e.Kind != events.KindPersonRecorded {
		return nil
	}
	b, err := e.Body()
	rec, ok := b.(events.PersonRecorded)
	if err != nil || !ok {
		return nil
	}
	return append(append([]byte(nil), e.ID[:]...), rec.Sealed...)
}

// orderKey is the row of an order to forget a customer; nil for any other event.
// Whether an owner signed it is not for this room to say: it is only found again
// by it.
func orderKey(e events.Event) []byte {
	if e.Kind != events.KindPersonForgotten {
		return nil
	}
	b, err := e.Body()
	order, ok := b.(events.PersonForgotten)
	if err != nil || !ok || order.Validate() != nil {
		return nil
	}
	return append(append([]byte{'o'}, e.About[:]...), order.Signature...)
}

// Person is the latest that was recorded of a customer, sealed; false where
// nothing is.
func Person(r Reader, p events.PersonID) (events.PersonRecorded, bool, error) {
	v, err := r.Get(personKey(p))
	if err != nil || v == nil {
		return events.PersonRecorded{}, false, err
	}
	if len(v) < 16 {
		return events.PersonRecorded{}, false, errView
	}
	return events.PersonRecorded{Sealed: v[16:]}, true, nil
}
