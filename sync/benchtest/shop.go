package benchtest

import (
	"fmt"
	"io"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// shop is what the owner knows and does. What he decides he writes down at one
// of the laptops, by what is known there.
type shop struct {
	id       events.ShopID
	owner    events.BenchKey
	ownerID  events.BenchID
	founding events.ShopFounded
	secrets  map[events.KeyID]events.ShopKey // all there ever were
	numbers  uint32                          // of benches given
	drawn    int                             // secrets
}

// found founds the shop of a seed.
func found(seed uint64) (s shop, err error) {
	var random [32]byte
	if _, err := io.ReadFull(seeded(seed, 0), random[:]); err != nil {
		return s, err
	}
	if s.owner, err = events.OwnerKeyOf(random); err != nil {
		return s, err
	}
	if s.ownerID, err = s.owner.Public(); err != nil {
		return s, err
	}
	s.founding, err = s.owner.Found("Old Mill Radio", [16]byte{byte(seed), byte(seed >> 8), byte(seed >> 16)})
	s.id, s.secrets = s.founding.Shop(), map[events.KeyID]events.ShopKey{}
	return s, err
}

// secret draws a key for the shop.
func (w *World) secret() (k events.ShopKey, err error) {
	w.shop.drawn++
	_, err = io.ReadFull(seeded(w.seed, 400+w.shop.drawn), k[:])
	return k, err
}

// begin gives every laptop the shop's founding: the first writes it, the others
// have it from joining.
func (w *World) begin(laptops int) error {
	facts := []events.Body{w.shop.founding}
	readers := []events.BenchID{w.shop.ownerID}
	for range laptops {
		l, err := w.newLaptop()
		if err != nil {
			return err
		}
		admitted, err := w.shop.owner.Admit(w.shop.id, l.ID, l.Name, w.shop.numbers)
		if err != nil {
			return err
		}
		facts, readers = append(facts, admitted), append(readers, l.ID)
	}
	secret, err := w.secret()
	if err != nil {
		return err
	}
	set, err := w.shop.owner.SetKey(w.shop.id, 1, secret, readers...)
	if err != nil {
		return err
	}
	w.shop.secrets[set.Key] = secret
	if err := w.decide(w.Laptops[0], append(facts, set)...); err != nil {
		return err
	}
	for _, l := range w.Laptops[1:] {
		if err := w.join(w.Laptops[0], l); err != nil {
			return err
		}
	}
	return nil
}

// join gives a laptop the feed that the shop was founded in.
func (w *World) join(from, l *Laptop) error {
	for _, h := range from.Log.Heads() {
		evs, end, err := replicate.OnLog(from.Log).Run(eventlog.First(h.Feed), 0)
		if err != nil {
			return err
		}
		if err := replicate.OnLog(l.Log).Receive(evs, []events.SignedHead{end}, nil); err != nil {
			return err
		}
	}
	return l.Bench.Grew(l.now())
}

// decide writes the owner's words at a laptop.
func (w *World) decide(l *Laptop, bodies ...events.Body) error {
	var drafts []events.Draft
	for _, b := range bodies {
		drafts = append(drafts, events.Draft{Body: b})
	}
	if err := w.write(l, drafts...); err != nil {
		return err
	}
	return l.Bench.Grew(l.now())
}

// fewHeld is how many events the laptops of a world hold at most. In every third it is so
// few that more come while those are handed on.
func (w *World) fewHeld() int {
	if w.seed%3 == 0 {
		return 6
	}
	return 0
}

// newLaptop makes a laptop with a key of its own that nobody admitted so far.
func (w *World) newLaptop() (*Laptop, error) {
	w.shop.numbers++
	n := int(w.shop.numbers)
	l := &Laptop{Name: fmt.Sprintf("bench %d", n), Disk: vfs.NewCrashableMem(), most: w.fewHeld(), Acked: map[events.Hash]bool{}, shop: w.shop.id,
		clock: morning, random: seeded(w.seed, n), trap: &trap{}, newer: w.happens(w.faults.newer)}
	if w.folder != "" {
		l.witness = fmt.Sprintf("%s/%d", w.folder, n)
	}
	var err error
	if l.Key, l.ID, err = w.newKey(100 + n); err != nil {
		return nil, err
	}
	w.Laptops = append(w.Laptops, l)
	return l, l.open()
}

func (w *World) newKey(n int) (k events.BenchKey, id events.BenchID, err error) {
	var random [32]byte
	if _, err = io.ReadFull(seeded(w.seed, n), random[:]); err != nil {
		return k, id, err
	}
	if k, err = events.BenchKeyOf(random); err != nil {
		return k, id, err
	}
	id, err = k.Public()
	return k, id, err
}

// admit takes a new laptop into the shop, at one that is there. The new one
// gets what an answer to joining holds: the founding, its admission, the keys.
func (w *World) admit(at *Laptop) error {
	ring := at.Bench.Inbox.Ring()
	if len(ring.Epochs()) == 0 {
		return nil // there is nothing to give that it could read with
	}
	l, err := w.newLaptop()
	if err != nil {
		return err
	}
	w.tell("%s is admitted at %s", l.Name, at.Name)
	admitted, err := w.shop.owner.Admit(w.shop.id, l.ID, l.Name, w.shop.numbers)
	if err != nil {
		return err
	}
	shared, err := at.Bench.Inbox.Roster().Share(w.shop.owner, ring, l.ID)
	if err != nil {
		return err
	}
	answer := []events.Body{admitted}
	for _, s := range shared {
		answer = append(answer, s)
	}
	if err := w.decide(at, answer...); err != nil {
		return err
	}
	return w.decide(l, append([]events.Body{w.shop.founding}, answer...)...)
}

// retire ends a laptop, up to what is here of it at another.
func (w *World) retire(at, l *Laptop) error {
	var heads []events.Head
	for _, r := range at.Log.Branches() {
		if r.Feed.Bench == l.ID {
			heads = append(heads, r.Head)
		}
	}
	w.tell("%s is retired at %s, up to %d heads", l.Name, at.Name, len(heads))
	bodies, err := roster.End(w.shop.owner, w.shop.id, l.ID, heads, "sold")
	if err != nil {
		return err
	}
	for _, c := range w.Laptops {
		c.retired = c.retired || c.ID == l.ID
	}
	return w.decide(at, bodies...)
}

// rekey begins another key of the shop.
func (w *World) rekey(at *Laptop) error {
	secret, err := w.secret()
	if err != nil {
		return err
	}
	set, err := at.Bench.Inbox.Roster().Rekey(w.shop.owner, secret)
	if err != nil {
		return err
	}
	w.tell("key %d is begun at %s", set.Epoch, at.Name)
	w.shop.secrets[set.Key] = secret
	return w.decide(at, set)
}

// share gives every key there is to every bench at work and admits again those
// whose admission may have been lost, as an owner does whom a page tells. A key
// that no owner can open any more is followed by another.
func (w *World) share(at *Laptop) error {
	r := at.Bench.Inbox.Roster()
	var bodies []events.Body
	var readers []events.BenchID
	for _, l := range w.working() {
		if slices.Contains(readers, l.ID) {
			continue // a copy of another
		}
		admitted, err := w.shop.owner.Admit(w.shop.id, l.ID, l.Name, uint32(len(readers)+1))
		if err != nil {
			return err
		}
		bodies, readers = append(bodies, admitted), append(readers, l.ID)
	}
	owners, _ := r.Keys(w.shop.owner)
	if _, ok := owners.Sealing(); !ok { // all that had it were put back or retired
		if err := w.rekey(at); err != nil {
			return err
		}
		r = at.Bench.Inbox.Roster()
		owners, _ = r.Keys(w.shop.owner)
	}
	for _, ring := range []roster.Ring{owners, at.Bench.Inbox.Ring()} {
		sets, err := r.Share(w.shop.owner, ring, append(readers, w.shop.ownerID)...)
		if err != nil {
			return err
		}
		for _, s := range sets {
			bodies = append(bodies, s)
		}
	}
	w.tell("all keys are given to all at %s", at.Name)
	return w.decide(at, bodies...)
}
