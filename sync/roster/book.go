package roster

import (
	"slices"

	"oldhand/events"
)

// Book keeps a shop's roster while events come in: whatever their order and
// grouping, it holds what Fold gives for all of them. It is not for use by
// several goroutines; the Roster it gives is a value that is.
type Book struct {
	shop     events.ShopID
	claims   map[claimKey]*claim
	owners   map[events.BenchID]bool
	accepted []*claim // signed by an owner
	waiting  []*claim // signed by nobody who is an owner so far
	broken   []*claim // no statements, whoever signed them
	roster   Roster
	stale    bool
}

// NewBook makes the book of a shop nobody belongs to yet.
func NewBook(shop events.ShopID) *Book {
	return &Book{shop: shop, claims: map[claimKey]*claim{}, owners: map[events.BenchID]bool{}, stale: true}
}

// Fold gives the roster of a set of events: in any order, with repeats. Events
// that are not about the roster are passed over.
func Fold(shop events.ShopID, evs []events.Event) Roster {
	b := NewBook(shop)
	b.Add(evs...)
	return b.Roster()
}

// Of gives the roster that bodies state which came without their events, as in
// the answer to a joining bench. Their carriers are zero.
func Of(shop events.ShopID, bodies ...events.Body) Roster {
	b := NewBook(shop)
	b.AddBodies(bodies...)
	return b.Roster()
}

// AddBodies takes statements that came without their events.
func (b *Book) AddBodies(bodies ...events.Body) {
	for _, body := range bodies {
		if !Concerns(body.Kind()) {
			continue
		}
		c := read(b.shop, body.Kind(), body, nil)
		b.take(c.key(nil), c)
	}
}

// Add takes events and reports whether the roster may be another than before.
func (b *Book) Add(evs ...events.Event) (changed bool) {
	for _, e := range evs {
		if !Concerns(e.Kind) {
			continue
		}
		key, c := claimOf(b.shop, e)
		changed = b.take(key, c) || changed
	}
	return changed
}

// Roster is what the events taken so far say.
func (b *Book) Roster() Roster {
	if b.stale {
		b.roster, b.stale = fold(b), false
	}
	return b.roster
}

// Beyond gives what owners said in this book that another one does not have, in
// the order of their events.
func (b *Book) Beyond(other *Book) (said []events.Body) {
	var list []*claim
	for key, c := range b.claims {
		if other.claims[key] == nil && slices.Contains(b.accepted, c) {
			list = append(list, c)
		}
	}
	slices.SortFunc(list, func(c, d *claim) int { return c.carrier.compare(d.carrier) })
	for _, c := range list {
		said = append(said, c.body)
	}
	return said
}

func (b *Book) take(key claimKey, c *claim) bool {
	if old := b.claims[key]; old != nil {
		if c.carrier.compare(old.carrier) >= 0 {
			return false
		}
		old.carrier = c.carrier
		b.stale = true
		return true
	}
	b.claims[key] = c
	b.judge(c)
	b.stale = true
	return true
}

func (b *Book) judge(c *claim) {
	if c.why != nil {
		b.broken = append(b.broken, c)
		return
	}
	if founding, ok := c.body.(events.ShopFounded); ok {
		b.accepted = append(b.accepted, c)
		b.trust(founding.Owner)
		return
	}
	for owner := range b.owners {
		if c.signedBy(owner) {
			b.accept(c)
			return
		}
	}
	b.waiting = append(b.waiting, c)
}

func (b *Book) accept(c *claim) {
	b.accepted = append(b.accepted, c)
	if named, ok := c.body.(events.OwnerNamed); ok {
		b.trust(named.Owner)
	}
}

// trust makes a key an owner's, and with it those that this one named, and
// takes what they signed out of what waits.
func (b *Book) trust(owner events.BenchID) {
	for queue := []events.BenchID{owner}; len(queue) > 0; queue = queue[1:] {
		next := queue[0]
		if b.owners[next] {
			continue
		}
		b.owners[next] = true
		b.waiting = slices.DeleteFunc(b.waiting, func(c *claim) bool {
			if !c.signedBy(next) {
				return false
			}
			b.accepted = append(b.accepted, c)
			if named, ok := c.body.(events.OwnerNamed); ok {
				queue = append(queue, named.Owner)
			}
			return true
		})
	}
}
