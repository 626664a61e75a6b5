package roster

import (
	"errors"
	"fmt"
	"slices"

	"oldhand/events"
)

// ErrNotAnOwner is returned when a key is to sign what only an owner may, and
// is none of the shop's.
var ErrNotAnOwner = errors.New("not an owner's key of this shop")

// What an owner does that takes more than one signature.

// End makes the events that retire a bench of which heads count. A list in an
// event is short and a bench of many years has many feeds, so those beyond
// events.MaxList follow as releases, and so does each further branch of a feed
// that is named twice. What is released, a second retirement does not narrow.
func End(owner events.BenchKey, shop events.ShopID, bench events.BenchID, heads []events.Head, why string) ([]events.Body, error) {
	first, more := firstOfEach(heads)
	retired, err := owner.Retire(shop, bench, first, why)
	if err != nil {
		return nil, fmt.Errorf("retire bench %s: %w", bench, err)
	}
	list := []events.Body{retired}
	released, err := LetCount(owner, shop, bench, more, why)
	if err != nil {
		return nil, fmt.Errorf("retire bench %s: %w", bench, err)
	}
	list = append(list, released...)
	return list, validateAll(list)
}

// LetCount makes the events that let a retired bench count up to heads after
// all, as many as the lists in an event take.
func LetCount(owner events.BenchKey, shop events.ShopID, bench events.BenchID, heads []events.Head, why string) (list []events.Body, err error) {
	for part := range slices.Chunk(heads, events.MaxList) {
		released, err := owner.Release(shop, bench, part, why)
		if err != nil {
			return nil, fmt.Errorf("let bench %s count: %w", bench, err)
		}
		list = append(list, released)
	}
	return list, validateAll(list)
}

// firstOfEach parts heads into one a feed, as many as an event takes, and the
// others.
func firstOfEach(heads []events.Head) (first, more []events.Head) {
	seen := map[events.FeedID]bool{}
	for _, h := range heads {
		if seen[h.Feed] || len(first) == events.MaxList {
			more = append(more, h)
			continue
		}
		seen[h.Feed] = true
		first = append(first, h)
	}
	return first, more
}

// Rekey makes the event that begins the next epoch with a fresh random secret,
// for all benches at work and all owners, so that an owner's key from the
// drawer opens the shop's past by itself.
func (r Roster) Rekey(owner events.BenchKey, secret events.ShopKey) (events.ShopKeySet, error) {
	if err := r.checkOwner(owner); err != nil {
		return events.ShopKeySet{}, err
	}
	epoch := uint32(1)
	if n := len(r.keys); n > 0 {
		epoch = r.keys[n-1].epoch + 1
	}
	readers := slices.Clone(r.owners)
	for _, b := range r.benches {
		if !b.Retired {
			readers = append(readers, b.ID)
		}
	}
	set, err := owner.SetKey(r.shop, epoch, secret, readers...)
	if err != nil {
		return events.ShopKeySet{}, err
	}
	return set, set.Validate()
}

// Share makes the events that give every key of a ring to further readers, as
// to a bench just admitted. The owner signs; the ring may be a bench's.
func (r Roster) Share(owner events.BenchKey, ring Ring, readers ...events.BenchID) (list []events.ShopKeySet, err error) {
	if err := r.checkOwner(owner); err != nil {
		return nil, err
	}
	for _, k := range ring.keys {
		set, err := owner.SetKey(r.shop, k.Epoch, k.Secret, readers...)
		if err != nil {
			return nil, err
		}
		if err := set.Validate(); err != nil {
			return nil, err
		}
		list = append(list, set)
	}
	return list, nil
}

func (r Roster) checkOwner(key events.BenchKey) error {
	id, err := key.Public()
	if err != nil {
		return err
	}
	if !slices.Contains(r.owners, id) {
		return fmt.Errorf("key %s: %w", shortBench(id), ErrNotAnOwner)
	}
	return nil
}

func validateAll(list []events.Body) error {
	for _, b := range list {
		if err := b.Validate(); err != nil {
			return err
		}
	}
	return nil
}
