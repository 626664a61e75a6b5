package projections

import (
	"slices"

	"oldhand/events"
)

// units is union-find over unit ids. The root of a unit is its smallest id, so
// the order of joins does not matter and no join can make a circle.
type units map[events.UnitID]events.UnitID

func (u units) find(id events.UnitID) events.UnitID {
	p, ok := u[id]
	if !ok || p == id {
		return id
	}
	root := u.find(p)
	u[id] = root
	return root
}

func (u units) join(a, b events.UnitID) {
	ra, rb := u.find(a), u.find(b)
	if ra.Compare(rb) > 0 {
		ra, rb = rb, ra
	}
	u[rb] = ra
}

// component is one physical unit: its ids and what stands about them.
type component struct {
	members   []events.UnitID
	facts     []Entry
	withdrawn []Entry
	conflicts []Conflict
	apart     []events.UnitID
	acted     bool
}

// components splits units whose events were loaded into physical units. All
// units that a join or a parting ever named together must be loaded together,
// whether or not it stands: then what stands is worked out from the same
// events whichever of them was asked for. Those not loaded yet are missing.
func components(loaded map[events.UnitID]bool, evs []events.Event) (cs []component, missing []events.UnitID) {
	for _, e := range evs {
		for _, id := range unitsOf(e) {
			if !loaded[id] {
				missing = append(missing, id)
			}
		}
	}
	if len(missing) > 0 {
		return nil, missing
	}
	s := resolve(evs)
	u := units{}
	for _, e := range s.facts {
		if us := e.units(); e.Kind == events.KindSameUnit && len(us) == 2 {
			u.join(us[0], us[1])
		}
	}
	cs, at := split(loaded, u)
	s.share(func(id events.UnitID) *component { return &cs[at[u.find(id)]] })
	return cs, nil
}

// split makes an empty component of each set of joined units.
func split(loaded map[events.UnitID]bool, u units) (cs []component, at map[events.UnitID]int) {
	ids := make([]events.UnitID, 0, len(loaded))
	for id := range loaded {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, events.UnitID.Compare)
	at = map[events.UnitID]int{}
	for _, id := range ids {
		root := u.find(id)
		if _, ok := at[root]; !ok {
			at[root] = len(cs)
			cs = append(cs, component{})
		}
		c := &cs[at[root]]
		c.members = append(c.members, id)
	}
	return cs, at
}

// share gives each component what stands about its units; a join or a parting
// stands with both.
func (s standing) share(of func(events.UnitID) *component) {
	each := func(e Entry, fn func(c *component)) {
		var first *component
		for _, id := range e.units() {
			if c := of(id); c != first {
				fn(c)
				first = c
			}
		}
	}
	for _, e := range s.facts {
		each(e, func(c *component) { c.facts = append(c.facts, e) })
		if e.Kind == events.KindNotSameUnit {
			us := e.units()
			a, b := of(us[0]), of(us[len(us)-1])
			if a != b {
				a.apart, b.apart = append(a.apart, us[len(us)-1]), append(b.apart, us[0])
			}
		}
	}
	for _, e := range s.withdrawn {
		each(e, func(c *component) { c.withdrawn = append(c.withdrawn, e) })
	}
	for _, d := range s.conflicts {
		each(d.about, func(c *component) { c.conflicts = append(c.conflicts, d.Conflict) })
	}
	for _, id := range s.acted {
		of(id).acted = true
	}
}

// units are the units an entry is about, for a join or a parting both. One
// that names no second unit, as no honest bench writes it, is about the first.
func (e Entry) units() []events.UnitID {
	var other events.UnitID
	switch b := e.Decode().(type) {
	case events.SameUnit:
		other = b.Other
	case events.NotSameUnit:
		other = b.Other
	}
	if other.IsZero() {
		return []events.UnitID{e.About}
	}
	return []events.UnitID{e.About, other}
}

// history folds the component, nil if there is nothing to fold.
func (c component) history() *History {
	if len(c.facts) == 0 && len(c.withdrawn) == 0 && !c.acted {
		return nil
	}
	h := fold(c.members, c.facts)
	slices.SortFunc(c.withdrawn, Entry.compare)
	slices.SortFunc(c.apart, events.UnitID.Compare)
	h.Withdrawn, h.Conflicts, h.Apart = c.withdrawn, c.conflicts, slices.Compact(c.apart)
	h.Tangled = h.Tangled || c.acted
	return h
}
