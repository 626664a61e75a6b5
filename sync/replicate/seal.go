package replicate

import (
	"errors"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// ErrUnproven is returned when nothing behind a number can be given, because no
// signed head covers it or no key seals it.
var ErrUnproven = errors.New("nothing that can be proven to others")

// Seal makes the segment of a branch's next run behind a number. What gives a key
// to benches is sealed with a key from before, which they have: with the new one
// nobody could read it who needs to.
func (b *Bench) Seal(of eventlog.Branch, after uint64) ([]byte, events.SignedHead, error) {
	f := of.Feed
	evs, end, err := b.log.Run(of, after)
	if err == nil && len(evs) == 0 {
		err = ErrUnproven
	}
	if err == nil && f.Bench == b.core.bench {
		evs, end, err = b.cut(evs, end)
	}
	if err != nil {
		return nil, end, fmt.Errorf("take feed %s behind %d: %w", f.Short(), after, err)
	}
	key, ok := b.Inbox.keyFor(evs)
	if !ok {
		return nil, end, fmt.Errorf("seal feed %s behind %d: no key of the shop: %w", f.Short(), after, ErrUnproven)
	}
	payload, err := segment.Seal(b.shop, key.Epoch, segment.Key(key.Secret), evs, end, b.rand)
	return payload, end, err
}

// cut shortens a run of this bench's own, so that as little as can be is sealed
// with a key from before: a run ends before an event that gives a key, or
// behind the last of those it begins with.
func (b *Bench) cut(evs []events.Event, end events.SignedHead) ([]events.Event, events.SignedHead, error) {
	gives := func(e events.Event) bool { return e.Kind == events.KindShopKeySet }
	n := slices.IndexFunc(evs, gives)
	if n == 0 {
		n = slices.IndexFunc(evs, func(e events.Event) bool { return !gives(e) })
	}
	if n < 0 {
		return evs, end, nil
	}
	end, err := b.Inbox.own.SignHead(b.shop, evs[n-1].Head())
	return evs[:n], end, err
}

// keyFor is the key that seals events: the last, or, where they give a key, the
// last from before it. Only a bench that has the last seals anything.
func (in *Inbox) keyFor(evs []events.Event) (key roster.Key, ok bool) {
	if key, ok = in.ring.Sealing(); !ok {
		return key, false
	}
	gives := key.Epoch + 1
	if planted.Bug("a key is sealed with itself") {
		return key, true
	}
	for _, e := range evs {
		if body, err := e.Body(); err == nil {
			if set, is := body.(events.ShopKeySet); is {
				gives = min(gives, set.Epoch)
			}
		}
	}
	if gives > key.Epoch {
		return key, true
	}
	epochs := in.ring.Epochs() // rising, and not empty
	use := epochs[0]
	for _, e := range epochs {
		if e < gives {
			use = e
		}
	}
	return in.ring.Of(use)[0], true
}
