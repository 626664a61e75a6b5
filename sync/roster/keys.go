package roster

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"

	"oldhand/events"
)

// shopKey is one key of an epoch with all its wrappings.
type shopKey struct {
	epoch   uint32
	id      events.KeyID
	readers []events.WrappedKey // by bench, then by bytes
}

func (k shopKey) compare(l shopKey) int {
	return cmp.Or(cmp.Compare(k.epoch, l.epoch), bytes.Compare(k.id[:], l.id[:]))
}

// wrapped are the wrappings for one reader.
func (k shopKey) wrapped(bench events.BenchID) []events.WrappedKey {
	first, _ := slices.BinarySearchFunc(k.readers, bench, func(w events.WrappedKey, id events.BenchID) int { return compareBenches(w.Bench, id) })
	n := first
	for n < len(k.readers) && k.readers[n].Bench == bench {
		n++
	}
	return k.readers[first:n]
}

// setKeys joins the sets of one key and picks the key that seals.
func (r *Roster) setKeys(said []*claim) {
	each(said, func(b events.ShopKeySet, _ Carrier) {
		k := shopKey{b.Epoch, b.Key, b.Readers}
		i, ok := slices.BinarySearchFunc(r.keys, k, shopKey.compare)
		if !ok {
			r.keys = slices.Insert(r.keys, i, k)
			return
		}
		r.keys[i].readers = slices.Concat(r.keys[i].readers, k.readers)
	})
	for i := range r.keys {
		of := slices.SortedFunc(slices.Values(r.keys[i].readers), compareWrapped)
		r.keys[i].readers = slices.CompactFunc(of, func(a, b events.WrappedKey) bool { return compareWrapped(a, b) == 0 })
		if i > 0 && r.keys[i-1].epoch == r.keys[i].epoch {
			r.conflicts = append(r.conflicts, Conflict{Matter: KeysOfEpoch, Epoch: r.keys[i].epoch,
				Words: fmt.Sprintf("owners who had not met set different keys for epoch %d; both open", r.keys[i].epoch)})
		}
	}
	r.pickSeal()
}

func compareWrapped(a, b events.WrappedKey) int {
	return cmp.Or(compareBenches(a.Bench, b.Bench), bytes.Compare(a.Wrapped, b.Wrapped))
}

// pickSeal takes, of the keys of the last epoch, the first by name that no
// retired bench can open, or else the first.
func (r *Roster) pickSeal() {
	if len(r.keys) == 0 {
		return
	}
	last := r.keys[len(r.keys)-1].epoch
	first := slices.IndexFunc(r.keys, func(k shopKey) bool { return k.epoch == last })
	r.seal = first
	for i := first; i < len(r.keys); i++ {
		if len(r.knownTo(r.keys[i])) == 0 {
			r.seal = i
			break
		}
	}
	r.checkSeal(r.keys[r.seal])
}

// knownTo are the retired benches that can open a key.
func (r *Roster) knownTo(k shopKey) (list []Bench) {
	for _, b := range r.benches {
		if b.Retired && len(k.wrapped(b.ID)) > 0 {
			list = append(list, b)
		}
	}
	return list
}

func (r *Roster) checkSeal(k shopKey) {
	for _, b := range r.knownTo(k) {
		r.conflicts = append(r.conflicts, Conflict{Matter: KeyKnown, Benches: []events.BenchID{b.ID}, Epoch: k.epoch,
			Words: fmt.Sprintf("bench %s is retired and can open what is sealed with key %d: begin another", b.Name, k.epoch)})
	}
	for _, b := range r.benches {
		if !b.Retired && len(k.wrapped(b.ID)) == 0 {
			r.conflicts = append(r.conflicts, Conflict{Matter: KeyMissing, Benches: []events.BenchID{b.ID}, Epoch: k.epoch,
				Words: fmt.Sprintf("bench %s can't open what is sealed with key %d: give it the key", b.Name, k.epoch)})
		}
	}
}

// Key is a shop key that was opened.
type Key struct {
	Epoch  uint32
	ID     events.KeyID
	Secret events.ShopKey
}

// Ring is the shop keys that one bench can open.
type Ring struct {
	keys []Key // by epoch and name
	seal int   // place of the sealing key, or -1
}

// Errors of opening keys.
var (
	// ErrNoSealingKey is returned when the bench can't open the key that seals,
	// or none was set. It can still open what older keys sealed.
	ErrNoSealingKey = errors.New("no key to seal with")

	// ErrOtherKey is returned when a wrapping opens, but to another key than
	// the one the owner named.
	ErrOtherKey = errors.New("another key than the one named")
)

// Keys opens what is wrapped for a bench, or for an owner's own key. The ring
// holds all that opened; the error says, of all that did not, which and why,
// and is ErrNoSealingKey among others where nothing new can be sealed.
func (r Roster) Keys(own events.BenchKey) (ring Ring, err error) {
	ring.seal = -1
	id, err := own.Public()
	if err != nil {
		return ring, err
	}
	var errs []error
	for i, k := range r.keys {
		key, ok, err := r.open(own, k, k.wrapped(id))
		if err != nil {
			errs = append(errs, err)
		}
		if !ok {
			continue
		}
		if i == r.seal {
			ring.seal = len(ring.keys)
		}
		ring.keys = append(ring.keys, key)
	}
	if ring.seal < 0 {
		errs = append(errs, r.noSeal())
	}
	return ring, errors.Join(errs...)
}

// open tries the wrappings of one key: one that opens is enough.
func (r Roster) open(own events.BenchKey, k shopKey, wrapped []events.WrappedKey) (key Key, ok bool, err error) {
	for _, w := range wrapped {
		secret, e := own.UnwrapKey(r.shop, k.epoch, w)
		if e == nil && secret.ID(r.shop, k.epoch) != k.id {
			e = fmt.Errorf("shop key %d: named %s, got %s: %w", k.epoch, k.id, secret.ID(r.shop, k.epoch), ErrOtherKey)
		}
		if e == nil {
			return Key{k.epoch, k.id, secret}, true, nil
		}
		err = errors.Join(err, e)
	}
	return Key{}, false, err
}

func (r Roster) noSeal() error {
	if r.seal < 0 {
		return fmt.Errorf("shop %s has set no key: %w", r.shop, ErrNoSealingKey)
	}
	return fmt.Errorf("key %d of shop %s is not given to this bench: %w", r.keys[r.seal].epoch, r.shop, ErrNoSealingKey)
}

// Epochs lists the epochs of which a key opened, rising.
func (g Ring) Epochs() (list []uint32) {
	for _, k := range g.keys {
		list = append(list, k.Epoch)
	}
	return slices.Compact(list)
}

// Of gives the keys of an epoch: one, or more where owners who had not met set
// more.
func (g Ring) Of(epoch uint32) (list []Key) {
	for _, k := range g.keys {
		if k.Epoch == epoch {
			list = append(list, k)
		}
	}
	return list
}

// Sealing is the key for what is sealed from here on.
func (g Ring) Sealing() (Key, bool) {
	if g.seal < 0 {
		return Key{}, false
	}
	return g.keys[g.seal], true
}
