package app

import (
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/nearby"
	"oldhand/sync/roster/invite"
	"oldhand/sync/segment"
)

// Looker looks around for exchanges; nearby.Look is one. What it gives is a
// hint: whoever answers at an address must have the key of the pin.
type Looker func(context.Context, nearby.Want) ([]nearby.Found, error)

const (
	// triesFor is how long all that was found is tried, true or not.
	triesFor = 10 * time.Second

	// aroundEvery is the pause between looks around of a bench that watches: a
	// host that moved need not be found sooner, and each look is heard by all.
	aroundEvery = 30 * time.Second

	// maxAddresses is how many addresses of one exchange are remembered. Each
	// that is dead costs the next meeting a wait.
	maxAddresses = 4
)

// Advertise shows the hosted exchange on the local network, so that the shop's
// other benches find it without an address.
func (h *Hosting) Advertise() (*nearby.Advert, error) {
	return nearby.Advertise(h.host.Addr(), nearby.Sign{Tag: nearby.TagOf(segment.Tag(h.tag)), Pin: nearby.Pin(startOf(h.host.Pin()))})
}

// Find is Reach, and where nothing is typed and nothing that the folder knows
// answers, it looks around on the local network and goes on with what is found
// there.
func Find(ctx context.Context, dir string, typed []string, o Options) (*Reached, error) {
	r, err := Reach(ctx, dir, typed)
	var tried Unmet
	if len(typed) > 0 || !errors.As(err, &tried) {
		return r, err
	}
	card, err := readCard(dir)
	if err != nil {
		return nil, err
	}
	lo, err := logOptions(dir, card, Options{})
	if err != nil {
		return nil, err
	}
	known, err := exchanges(dir)
	if err != nil {
		return nil, err
	}
	inside, cancel := context.WithTimeout(ctx, triesFor)
	defer cancel()
	r, err = dialFound(inside, lo, silent(known, tried), dir, o)
	switch {
	case ctx.Err() != nil:
		return nil, ErrStopped
	case r == nil && err == nil:
		return nil, tried
	}
	return r, err
}

// silent are the exchanges that did not answer. One that turned the bench away
// did: there is nothing to look for.
func silent(known []KnownExchange, tried Unmet) map[nearby.Pin]KnownExchange {
	left := map[nearby.Pin]KnownExchange{}
	for i, k := range known[:min(len(known), len(tried))] {
		if b, err := k.start(); err == nil && !k.isCluster() && !errors.Is(tried[i].why, exchange.ErrNotAdmitted) {
			left[nearby.Pin(b)] = k
		}
	}
	return left
}

// dialFound looks around and connects to the first of the exchanges that is
// found and is the one that it is said to be; nil where none is.
func dialFound(ctx context.Context, lo eventlog.Options, silent map[nearby.Pin]KnownExchange, dir string, o Options) (*Reached, error) {
	w := nearby.Want{Tag: nearby.TagOf(segment.TagOf(lo.Shop)), Pins: slices.Collect(maps.Keys(silent))}
	for _, f := range lookAround(ctx, o.Around, w) {
		k, address := silent[f.Pin], f.Address.String()
		at := KnownExchange{Addresses: []string{address}, Pin: k.Pin}
		x, err := dial(ctx, lo, at)
		if errors.Is(err, exchange.ErrNotAdmitted) {
			return nil, Unmet{{at: address, why: err}} // it is the true one
		}
		if err != nil {
			continue
		}
		o.warn(foundAt(address))
		if err := rememberExchange(dir, k.nowAt(address)); err != nil {
			x.Close()
			return nil, err
		}
		return reached(address, x, lo, at), nil
	}
	return nil, nil
}

func foundAt(address string) string {
	return "found where the benches meet on the local network, at " + address
}

// lookAround asks a looker, where there is one and something to look for. That it
// could not look is no reason to fail: without it there would have been no try.
func lookAround(ctx context.Context, look Looker, w nearby.Want) []nearby.Found {
	if look == nil || len(w.Pins) == 0 {
		return nil
	}
	list, err := look(ctx, w)
	if err != nil {
		return nil
	}
	return list
}

// nowAt is the exchange with the address where it answered before the others.
func (k KnownExchange) nowAt(address string) KnownExchange {
	list := []string{address}
	for _, a := range k.Addresses {
		if a != address && len(list) < maxAddresses {
			list = append(list, a)
		}
	}
	return KnownExchange{Addresses: list, Pin: k.Pin}
}

// seldom is a looker that looks at most once in a while and gives nothing in
// between.
func seldom(look Looker, every time.Duration, now func() time.Time) Looker {
	var last time.Time
	return func(ctx context.Context, w nearby.Want) ([]nearby.Found, error) {
		if look == nil || !last.IsZero() && now().Sub(last) < every {
			return nil, nil
		}
		last = now()
		return look(ctx, w)
	}
}

// nobody is returned when what answers, if anything does, is not the host that
// a join code is of.
type nobody struct{ Wrong }

// Unwrap is what is told to a person.
func (n *nobody) Unwrap() error { return &n.Wrong }

// askSomewhere asks to join where the code says, and where nobody is there, and
// no address was typed, where its exchange is found on the local network. The
// code has the addresses to remember then.
func askSomewhere(ctx context.Context, dir string, code *invite.Code, typed bool, name string, o Options) (a invite.Answer, key events.BenchKey, err error) {
	err = &nobody{Wrong{"the code", "names no address, and its exchange was not found on the local network; say the address behind the code, such as 192.168.1.20:4747"}}
	if len(code.Addresses) > 0 {
		a, key, err = askToJoin(ctx, dir, *code, name)
	}
	if typed || !errors.As(err, new(*nobody)) {
		return a, key, err
	}
	ctx, cancel := context.WithTimeout(ctx, 2*joinTimeout)
	defer cancel()
	for _, f := range lookAround(ctx, o.Around, nearby.Want{Pins: []nearby.Pin{nearby.Pin(code.Pin)}}) {
		address := f.Address.String()
		there := *code
		there.Addresses = []string{address}
		found, key, e := askToJoin(ctx, dir, there, name)
		if errors.As(e, new(*nobody)) {
			continue
		}
		if e == nil {
			o.warn(foundAt(address))
		}
		code.Addresses = KnownExchange{Addresses: code.Addresses}.nowAt(address).Addresses
		return found, key, e
	}
	return a, key, err
}
