package projections

import (
	"bytes"
	"cmp"
	"slices"

	"oldhand/events"
)

// standing is which facts stand, and what is disputed.
type standing struct {
	facts     []Entry
	withdrawn []Entry
	conflicts []disputed
	acted     []events.UnitID // units on whose events something acts
}

// disputed is a conflict and the entry it is about.
type disputed struct {
	Conflict
	about Entry
}

// overrider is an event that acts on others: a correction or the settling of a
// conflict takes the place of what it names; a withdrawal, or the undoing part
// of a parting, takes away what it names and nothing of its own stands for it.
type overrider struct {
	targets []events.EventID
	takes   bool // takes the place, rather than away
	fact    *events.Fact
	keep    events.EventID // of a settling
}

// resolver works out what stands among a unit's events. It looks at who named
// whom only. No clock takes part, except that where two versions did not see
// each other the one with the larger id is shown first.
//
// Events go by their number in the order of ids and, since a dishonest bench
// can write two under one id, of hashes; a name then means both.
type resolver struct {
	evs       []events.Event
	at        map[events.EventID][]int
	overs     map[int]overrider
	naming    [][]int // by event: the overrides that name it
	cancelled []int8  // memo: 0 not asked, 1 no, 2 yes
}

// resolve says what stands among events about the same unit, or about units
// that may be the same.
func resolve(evs []events.Event) standing {
	var s standing
	r := newResolver(evs)
	for i := range r.evs {
		r.listen(i)
		if _, acts := r.overs[i]; acts {
			s.acted = append(s.acted, unitsOf(r.evs[i])...)
		}
	}
	for _, group := range r.groups() {
		r.settle(group, &s)
	}
	return s
}

// Versions are the ids of a fact and of everything that took its place, as
// seen here: what a withdrawal of the fact as a whole has to name.
func Versions(evs []events.Event, fact events.EventID) []events.EventID {
	r := newResolver(evs)
	for i := range r.evs {
		r.listen(i)
	}
	for _, group := range r.groups() {
		ids := r.ids(group)
		if slices.Contains(ids, fact) {
			return ids
		}
	}
	return []events.EventID{fact}
}

// newResolver puts events in order, each once.
func newResolver(evs []events.Event) *resolver {
	r := &resolver{evs: slices.Clone(evs), at: map[events.EventID][]int{}, overs: map[int]overrider{}}
	slices.SortFunc(r.evs, func(a, b events.Event) int {
		return cmp.Or(a.ID.Compare(b.ID), bytes.Compare(a.Hash[:], b.Hash[:]))
	})
	r.evs = slices.CompactFunc(r.evs, func(a, b events.Event) bool { return a.Hash == b.Hash })
	r.naming, r.cancelled = make([][]int, len(r.evs)), make([]int8, len(r.evs))
	for i, e := range r.evs {
		r.at[e.ID] = append(r.at[e.ID], i)
		if o, ok := overriderOf(e); ok {
			r.overs[i] = o
		}
	}
	return r
}

func (r *resolver) ids(group []int) (ids []events.EventID) {
	for _, i := range group {
		ids = append(ids, r.evs[i].ID)
	}
	return slices.Compact(ids)
}

// listen notes whom an override names.
func (r *resolver) listen(i int) {
	for _, t := range r.overs[i].targets {
		for _, j := range r.meeting(i, t) {
			r.naming[j] = append(r.naming[j], i)
		}
	}
}

// meeting are the events under an id that an override may act on: those that
// have a unit in common with it. Anything wider would let one unit's event
// change a unit that it has nothing to do with.
func (r *resolver) meeting(override int, id events.EventID) (met []int) {
	mine := unitsOf(r.evs[override])
	for _, j := range r.at[id] {
		if slices.ContainsFunc(unitsOf(r.evs[j]), func(u events.UnitID) bool { return slices.Contains(mine, u) }) {
			met = append(met, j)
		}
	}
	return met
}

func overriderOf(e events.Event) (o overrider, ok bool) {
	switch e.Kind {
	case events.KindCorrected, events.KindWithdrawn, events.KindSettled, events.KindNotSameUnit:
	default:
		return o, false
	}
	body, err := e.Body()
	if err != nil {
		return o, false // a newer version of it: carried, and without effect here
	}
	switch b := body.(type) {
	case events.Corrected:
		if b.Fact.Kind.Joins() {
			return o, false // no honest bench writes it; which units are one would hang on a body
		}
		o.targets, o.takes, o.fact = b.Replaces, true, &b.Fact
	case events.Settled:
		o.targets, o.takes, o.keep = b.Settles, true, b.Keep
	case events.Withdrawn:
		o.targets = b.Withdraws
	case events.NotSameUnit:
		o.targets = b.Undoes
	}
	return o, true
}

// isCancelled reports whether a withdrawal that is not itself withdrawn names
// the event. A circle of withdrawals, which no honest bench writes, counts as
// not cancelled where it is entered.
func (r *resolver) isCancelled(i int) bool {
	if m := r.cancelled[i]; m != 0 {
		return m == 2
	}
	r.cancelled[i] = 1
	for _, o := range r.naming[i] {
		if !r.overs[o].takes && !r.isCancelled(o) {
			r.cancelled[i] = 2
			return true
		}
	}
	return false
}

// isReplaced reports whether a correction or settling that was not withdrawn
// names the event.
func (r *resolver) isReplaced(i int) bool {
	return slices.ContainsFunc(r.naming[i], func(o int) bool { return r.overs[o].takes && !r.isCancelled(o) })
}

// groups puts every fact together with the corrections and settlings that
// reach it, each group in order.
func (r *resolver) groups() [][]int {
	parent := make([]int, len(r.evs))
	for i := range parent {
		parent[i] = i
	}
	find := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	for i := range r.evs {
		for _, o := range r.naming[i] {
			if r.overs[o].takes {
				a, b := find(i), find(o)
				parent[max(a, b)] = min(a, b)
			}
		}
	}
	var groups [][]int
	place := map[int]int{}
	for i := range r.evs {
		root := find(i)
		if root == i {
			place[i] = len(groups)
			groups = append(groups, nil)
		}
		groups[place[root]] = append(groups[place[root]], i)
	}
	return groups
}

// settle says what of one group stands.
func (r *resolver) settle(group []int, s *standing) {
	f := slices.IndexFunc(group, r.speaks)
	if f < 0 {
		return // overrides of nothing that is here
	}
	fact := group[f]
	var tips, against []int
	for _, i := range group {
		if (r.speaks(i) || r.overs[i].takes) && !r.isCancelled(i) && !r.isReplaced(i) {
			tips = append(tips, i)
			against = append(against, r.unseenBy(i, map[int]bool{})...)
		}
	}
	if len(tips) == 0 {
		s.withdrawn = append(s.withdrawn, r.entry(fact, fact))
		return
	}
	shown := tips[len(tips)-1]
	if e, stands := r.content(fact, shown); stands {
		s.facts = append(s.facts, e)
	} else {
		s.withdrawn = append(s.withdrawn, r.entry(fact, fact))
	}
	if versions := r.ids(distinct(shown, tips, against)); len(versions) > 1 {
		s.conflicts = append(s.conflicts, disputed{Conflict{r.evs[fact].ID, versions}, r.entry(fact, fact)})
	}
}

// distinct lists the versions in dispute, the shown one first, then in order.
func distinct(shown int, lists ...[]int) []int {
	all := slices.Concat(lists...)
	slices.Sort(all)
	all = slices.DeleteFunc(slices.Compact(all), func(i int) bool { return i == shown })
	return append([]int{shown}, all...)
}

// speaks reports whether an event says something of a unit, rather than acting
// on what others said. What a newer version alone can read speaks for itself.
func (r *resolver) speaks(i int) bool {
	_, over := r.overs[i]
	return !over || r.evs[i].Kind == events.KindNotSameUnit
}

// unseenBy are withdrawals of what a version replaced that the version did not
// name: its writer corrected what somebody else was taking back.
func (r *resolver) unseenBy(tip int, seen map[int]bool) (against []int) {
	o, ok := r.overs[tip]
	if !ok || !o.takes || seen[tip] {
		return nil
	}
	seen[tip] = true
	for _, t := range o.targets {
		for _, j := range r.meeting(tip, t) {
			for _, w := range r.naming[j] {
				if !r.overs[w].takes && !r.isCancelled(w) && !r.isReplaced(w) && !slices.Contains(o.targets, r.evs[w].ID) {
					against = append(against, w)
				}
			}
			against = append(against, r.unseenBy(j, seen)...)
		}
	}
	return against
}

// content is what a version says; stands is false where it says that the fact
// is withdrawn.
func (r *resolver) content(fact, version int) (e Entry, stands bool) {
	for range len(r.overs) + 1 {
		o, over := r.overs[version]
		switch {
		case !over || r.speaks(version):
			return r.entry(fact, version), true
		case o.fact != nil:
			e := r.entry(fact, version)
			e.Kind, e.Version, e.At, e.By = o.fact.Kind, max(o.fact.Version, 1), o.fact.At, o.fact.By
			e.Visit, e.Body = o.fact.Visit, o.fact.Body
			return e, true
		case o.takes:
			kept := r.meeting(version, o.keep)
			if len(kept) == 0 {
				return r.entry(fact, fact), true
			}
			version = kept[0]
		default:
			return Entry{}, false
		}
	}
	return r.entry(fact, fact), true
}

// entry is an event as it stands in a history, under the fact's id.
func (r *resolver) entry(fact, shown int) Entry {
	e := entryOf(r.evs[shown])
	e.ID, e.About = r.evs[fact].ID, r.evs[fact].Unit()
	return e
}

// entryOf is the entry of an event that nothing acts on.
func entryOf(e events.Event) Entry {
	return Entry{ID: e.ID, Shown: e.ID, Kind: e.Kind, Version: e.Version, About: e.Unit(), Visit: e.Visit, At: e.At, By: e.By, Body: e.RawBody()}
}
