package roster

import (
	"bytes"
	"cmp"
	"maps"
	"slices"
	"strings"

	"oldhand/events"
)

// fold makes the roster of a book. Everything is sorted by what was said, so
// that nothing of the order in which it was heard remains.
func fold(b *Book) Roster {
	r := Roster{shop: b.shop, seal: -1, owners: slices.SortedFunc(maps.Keys(b.owners), compareBenches)}
	said := distinct(b.accepted)
	r.found(said)
	r.admit(said)
	r.retire(said)
	r.setKeys(said)
	r.refuse(b)
	r.conflicts = append(r.conflicts, r.shared()...)
	slices.SortFunc(r.conflicts, Conflict.compare)
	return r
}

// distinct sorts claims by what they say and keeps of equal ones that with the
// least carrier: one statement can be signed by two owners.
func distinct(claims []*claim) []*claim {
	list := slices.SortedFunc(slices.Values(claims), func(a, b *claim) int {
		return cmp.Or(cmp.Compare(a.kind, b.kind), bytes.Compare(a.said, b.said), a.carrier.compare(b.carrier))
	})
	return slices.CompactFunc(list, func(a, b *claim) bool { return a.kind == b.kind && bytes.Equal(a.said, b.said) })
}

// each calls f for the statements of one kind, in order.
func each[B events.Body](said []*claim, f func(B, Carrier)) {
	for _, c := range said {
		if b, ok := c.body.(B); ok {
			f(b, c.carrier)
		}
	}
}

func (r *Roster) found(said []*claim) {
	each(said, func(b events.ShopFounded, _ Carrier) {
		if !r.founded {
			r.name, r.founded = b.Name, true
		}
	})
}

// admit lists each admitted bench once, under its lowest number and first name.
func (r *Roster) admit(said []*claim) {
	each(said, func(b events.BenchAdmitted, c Carrier) {
		r.benches = append(r.benches, Bench{ID: b.Bench, Name: b.Name, Number: b.Number, Admitted: c})
	})
	slices.SortFunc(r.benches, func(a, b Bench) int {
		return cmp.Or(compareBenches(a.ID, b.ID), cmp.Compare(a.Number, b.Number), cmp.Compare(a.Name, b.Name))
	})
	kept := r.benches[:0]
	for _, b := range r.benches {
		if n := len(kept); n > 0 && kept[n-1].ID == b.ID {
			r.conflicts = append(r.conflicts, admittedTwice(kept[n-1], b))
			continue
		}
		kept = append(kept, b)
	}
	r.benches = kept
}

func (r *Roster) retire(said []*claim) {
	lists, why := map[events.BenchID][][]events.Head{}, map[events.BenchID][]string{}
	each(said, func(b events.BenchRetired, _ Carrier) {
		lists[b.Bench] = append(lists[b.Bench], b.Counted)
		why[b.Bench] = append(why[b.Bench], b.Why)
	})
	released := map[events.BenchID][]events.Head{}
	each(said, func(b events.FeedReleased, _ Carrier) { released[b.Bench] = append(released[b.Bench], b.Heads...) })
	for i := range r.benches {
		b := &r.benches[i]
		of := lists[b.ID]
		if len(of) == 0 {
			continue
		}
		b.Retired, b.Why = true, reasons(why[b.ID])
		b.Counted = inOrder(append(strictest(of), released[b.ID]...))
		if differ(of) {
			r.conflicts = append(r.conflicts, retiredTwice(*b))
		}
	}
}

// strictest is what all retirements of a bench leave of it: of each feed that
// all of them name the lowest number. Where one number comes with two hashes,
// owners looked at two branches, and nobody can say here where those part; so
// nothing is left, also if a still lower number is named, or another
// retirement could let more count.
func strictest(lists [][]events.Head) (left []events.Head) {
	named := map[events.FeedID]int{} // by how many retirements
	heads := map[events.FeedID][]events.Head{}
	for _, list := range lists {
		in := map[events.FeedID]bool{}
		for _, h := range list {
			if !in[h.Feed] {
				in[h.Feed] = true
				named[h.Feed]++
			}
			heads[h.Feed] = append(heads[h.Feed], h)
		}
	}
	for feed, of := range heads {
		of = inOrder(of)
		if named[feed] == len(lists) && !branches(of) {
			left = append(left, of[0])
		}
	}
	return left
}

// branches reports whether two of a feed's different heads, in order, have one
// number.
func branches(heads []events.Head) bool {
	for i, h := range heads[1:] {
		if h.Seq == heads[i].Seq {
			return true
		}
	}
	return false
}

// differ reports whether retirements leave different heads.
func differ(lists [][]events.Head) bool {
	first := inOrder(lists[0])
	return slices.ContainsFunc(lists[1:], func(l []events.Head) bool { return !slices.Equal(first, inOrder(l)) })
}

func inOrder(heads []events.Head) []events.Head {
	return slices.Compact(slices.SortedFunc(slices.Values(heads), compareHeads))
}

func reasons(why []string) string {
	why = slices.DeleteFunc(why, func(s string) bool { return s == "" })
	slices.Sort(why)
	return strings.Join(slices.Compact(why), "; ")
}

// refuse lists what was not heeded: by carrier, and where one event carries
// several things that can't be, which no honest log does, by what is said.
func (r *Roster) refuse(b *Book) {
	all := slices.Concat(b.waiting, b.broken)
	slices.SortFunc(all, func(x, y *claim) int {
		return cmp.Or(x.carrier.compare(y.carrier), cmp.Compare(x.kind, y.kind), bytes.Compare(x.said, y.said), bytes.Compare(x.sig, y.sig))
	})
	r.refusals = len(all)
	for _, c := range all[:min(len(all), MaxRefused)] {
		why := ErrNotOwner
		if c.why != nil {
			why = c.why
		}
		r.refused = append(r.refused, Refusal{c.carrier, c.kind, why.Error()})
	}
}
