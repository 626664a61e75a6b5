package roster_test

import (
	"crypto/ed25519"
	"maps"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"

	"pgregory.net/rapid"
)

// model says the rules of the package comment again, as plainly as they can
// be: no order, no index, everything asked anew of all statements.
type model struct {
	owners map[events.BenchID]bool
	said   []events.Body // by an owner
}

func modelOf(set []events.Event) model {
	m := model{owners: map[events.BenchID]bool{}}
	for range set { // no chain of namings is longer
		for _, e := range set {
			switch b := bodyOf(e).(type) {
			case events.ShopFounded:
				if b.Shop() == shop {
					m.owners[b.Owner] = true
				}
			case events.OwnerNamed:
				if m.signed(b.Statement(shop), b.Signature) {
					m.owners[b.Owner] = true
				}
			}
		}
	}
	for _, e := range set {
		b := bodyOf(e)
		if s, ok := b.(interface{ Statement(events.ShopID) []byte }); ok && m.signed(s.Statement(shop), signatureIn(b)) {
			m.said = append(m.said, b)
		}
	}
	return m
}

func bodyOf(e events.Event) events.Body { return must(e.Body()) }

func signatureIn(b events.Body) []byte {
	switch b := b.(type) {
	case events.BenchAdmitted:
		return b.Signature
	case events.BenchRetired:
		return b.Signature
	case events.FeedReleased:
		return b.Signature
	}
	return nil
}

func (m model) signed(statement, sig []byte) bool {
	return slices.ContainsFunc(slices.Collect(maps.Keys(m.owners)), func(o events.BenchID) bool { return ed25519.Verify(o[:], statement, sig) })
}

// standing goes through the ways a head can count.
func (m model) standing(h events.Head) roster.Standing {
	admitted, retired, released := false, false, []events.Head(nil)
	allow := []events.Head(nil)
	for _, b := range m.said {
		switch b := b.(type) {
		case events.BenchAdmitted:
			admitted = admitted || b.Bench == h.Feed.Bench
		case events.FeedReleased:
			released = append(released, b.Heads...)
		case events.BenchRetired:
			if b.Bench == h.Feed.Bench {
				retired = true
				allow = append(allow, b.Counted...)
			}
		}
	}
	switch {
	case !admitted:
		return roster.NotAdmitted
	case !retired:
		return roster.Counted
	}
	ends := m.agreed(allow, h.Feed)
	for _, r := range released {
		if r.Feed == h.Feed {
			ends = append(ends, r)
		}
	}
	return judged(ends, h)
}

// agreed is the lowest of all heads named for a feed, if every retirement of
// the bench names the feed and no two name one number with two hashes.
func (m model) agreed(named []events.Head, feed events.FeedID) []events.Head {
	for _, b := range m.said {
		r, ok := b.(events.BenchRetired)
		if ok && r.Bench == feed.Bench && !slices.ContainsFunc(r.Counted, func(h events.Head) bool { return h.Feed == feed }) {
			return nil
		}
	}
	var low events.Head
	for _, h := range named {
		if h.Feed != feed {
			continue
		}
		if slices.ContainsFunc(named, func(o events.Head) bool { return o.Feed == feed && o.Seq == h.Seq && o != h }) {
			return nil
		}
		if low.Seq == 0 || h.Seq < low.Seq {
			low = h
		}
	}
	if low.Seq == 0 {
		return nil
	}
	return []events.Head{low}
}

func judged(ends []events.Head, h events.Head) roster.Standing {
	top := uint64(0)
	for _, e := range ends {
		if e == h || e.Seq > h.Seq {
			return roster.Counted
		}
		top = max(top, e.Seq)
	}
	if top == h.Seq && top > 0 {
		return roster.OtherBranch
	}
	return roster.Beyond
}

func TestTheRosterAgreesWithItsPlainModel_P12(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := drawHistory(t)
		r, m := roster.Fold(shop, set), modelOf(set)
		if got := r.Owners(); len(got) != len(m.owners) || slices.ContainsFunc(got, func(o events.BenchID) bool { return !m.owners[o] }) {
			t.Fatalf("owners %v, the model has %v", got, m.owners)
		}
		for _, b := range laptops {
			for run := byte(1); run <= 3; run++ {
				for seq := uint64(1); seq <= 4; seq++ {
					for branch := range byte(2) {
						h := b.head(run, seq, branch)
						if got, want := r.Counts(h), m.standing(h); got.Standing != want {
							t.Fatalf("head %d on branch %d of run %d: standing %d (%s), the model says %d", seq, branch, run, got.Standing, got.Words, want)
						}
					}
				}
			}
		}
	})
}
