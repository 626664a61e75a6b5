package projections

import (
	"bytes"
	"slices"

	"oldhand/events"
)

// views are some of what a history gives besides itself: a bit for each question in the
// order of tallied, and one for the ways to find a unit.
type views uint64

const (
	allViews  views = 1<<64 - 1
	termViews views = 1 << 63
)

func (v views) has(one views) bool { return v&one != 0 }

// telling are the kinds of facts that begin or end a visit or say what a set is. Every
// row may hang on them.
var telling = []events.Kind{events.KindReceived, events.KindIdentified, events.KindShipped}

// viewsOf are, for each kind of fact that a question or the ways to find a unit read
// besides those, who read it.
var viewsOf = func() map[events.Kind]views {
	of := map[events.Kind]views{events.KindRowImported: termViews}
	for i, q := range tallied {
		for _, k := range q.reads {
			of[k] |= 1 << i
		}
	}
	return of
}()

// always are the views that hang on the day of any fact.
var always = func() (v views) {
	for i, q := range tallied {
		if q.ID == spanQuestion {
			v |= 1 << i
		}
	}
	return v
}()

// changedBy are the views that events can change which simply come next in a history.
func changedBy(evs []events.Event) views {
	which := always
	for _, e := range evs {
		if slices.Contains(telling, e.Kind) {
			return allViews
		}
		which |= viewsOf[e.Kind]
	}
	return which
}

// contribution is what one history gives to the views besides itself, or to some of them.
type contribution struct {
	members []events.UnitID
	rows    []rowList // a question each
	terms   rowList
}

// contribute reads a contribution to some views off a history, which may be nil.
func contribute(h *History, which views) (c contribution) {
	if h == nil {
		return c
	}
	c.members = h.Members
	if which.has(termViews) {
		terms(h, &c.terms)
	}
	c.rows = make([]rowList, len(tallied))
	for i, q := range tallied {
		if which.has(1 << i) {
			q.rows(h, &c.rows[i])
		}
	}
	return c
}

// swap puts a history, which may be nil, in the place of what an older one contributed.
// Views that are not among which stay as they are.
func swap(s *projecting, old contribution, h *History, which views) error {
	next := contribute(h, which)
	for i, q := range tallied {
		s.swapRows(q, rowsOf(old, i), rowsOf(next, i))
	}
	swapTerms(s, &old.terms, &next.terms)
	if !slices.Equal(old.members, next.members) {
		for i, m := range old.members {
			if i > 0 || h == nil || m != h.Root {
				s.Delete(historyKey(m))
			}
		}
		for i, m := range next.members {
			if i > 0 {
				s.Put(historyKey(m), redirect(h.Root))
			}
		}
	}
	if h != nil {
		s.Put(historyKey(h.Root), h.bytes())
	}
	return nil
}

func rowsOf(c contribution, question int) *rowList {
	if c.rows == nil {
		return &rowList{}
	}
	return &c.rows[question]
}

// swapRows changes a question's tally by what a unit no longer contributes and
// what it contributes now.
func (s *projecting) swapRows(q Question, old, next *rowList) {
	if old.equal(next) {
		return
	}
	old.each(func(r []byte) { s.tallies[string(tallyKey(q.ID, r))]-- })
	next.each(func(r []byte) { s.tallies[string(tallyKey(q.ID, r))]++ })
}

// swapTerms takes away the ways to find a unit that are gone and adds the new.
func swapTerms(s Store, old, next *rowList) {
	if old.equal(next) {
		return
	}
	gone := make(map[string]bool, len(old.ends))
	old.each(func(k []byte) { gone[string(k)] = true })
	next.each(func(k []byte) {
		if gone[string(k)] {
			delete(gone, string(k))
			return
		}
		s.Put(bytes.Clone(k), []byte{})
	})
	for k := range gone {
		s.Delete([]byte(k))
	}
}
