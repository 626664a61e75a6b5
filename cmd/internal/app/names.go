package app

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/bundle"
	"oldhand/sync/exchange"
	"oldhand/sync/keyring"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/seal"
)

// What customers are called is looked up through the keyring whenever it is
// asked, so that a key that came, or went, shows at once and nothing is rebuilt.

// keeper is this folder's keyring as it meets others.
func (s *Shop) keeper(b *replicate.Bench) *keyring.Keeper {
	return &keyring.Keeper{
		Log: s.Log,
		Keys: func(epoch uint32) (list []seal.Key) {
			for _, k := range b.Inbox.Ring().Of(epoch) {
				list = append(list, seal.Key(k.Secret))
			}
			return list
		},
		Sealing: func() (uint32, seal.Key, bool) {
			k, ok := b.Inbox.Ring().Sealing()
			return k.Epoch, seal.Key(k.Secret), ok
		},
		Random: rand.Reader,
		OwnerSigned: func(statement, signature []byte) error {
			return b.Inbox.Roster().OwnerSigned(statement, signature)
		},
	}
}

// meetKeys exchanges the keys of customers' names, after the events. An exchange
// that has no place for them is of an older program; that is said and no more.
func (s *Shop) meetKeys(ctx context.Context, b *replicate.Bench, x *exchange.Exchange, m *Met, told func(meet.KeysMet)) error {
	got, err := meet.Keys(ctx, s.keeper(b), x, told)
	m.Names, m.NamesGave = got.Took, got.Gave
	if errors.Is(err, exchange.ErrNoStream) {
		m.NotHeeded = append(m.NotHeeded, "customers' names do not travel by this exchange: an older program hosts it")
		return nil
	}
	m.NotHeeded = append(m.NotHeeded, saysOfKeys(got.Waiting, got.Refused)...)
	return err
}

func saysOfKeys(waiting, refused int) (says []string) {
	if waiting > 0 {
		says = append(says, fmt.Sprintf("the keys of %d customers' names can't be used yet: what they open, or the shop's key, is not here", waiting))
	}
	if refused > 0 {
		says = append(says, fmt.Sprintf("the keys of %d customers' names were refused: they open nothing, or no owner signed them", refused))
	}
	return says
}

// lastKey is an exchange's last message of a key; zero where it has no place for
// them.
func lastKey(ctx context.Context, r *Reached) (uint64, error) {
	s, err := r.x.KeyState(ctx)
	switch {
	case err == nil, errors.Is(err, exchange.ErrNoStream):
		return s.LastSeq, nil
	case ctx.Err() != nil:
		return 0, ErrStopped
	}
	return 0, Unmet{{r.With, err, r.cluster}}
}

// sealedKeys are the keys that go into a bundle.
type sealedKeys struct {
	view func(func(*eventlog.View) error) error
	k    *keyring.Keeper
	any  bool
}

// sealKeys says which keys go into a bundle.
func (s *Shop) sealKeys(b *replicate.Bench, none bool) (sealedKeys, error) {
	k := sealedKeys{view: s.view, k: s.keeper(b)}
	if none {
		return k, nil
	}
	return k, s.view(func(v *eventlog.View) error {
		return v.Persons(func(events.KeyEntry) (bool, error) {
			k.any = true
			return false, nil
		})
	})
}

// add seals all keys into a bundle, one after the other.
func (k sealedKeys) add(w *bundle.Writer) (n int, err error) {
	if !k.any {
		return 0, nil
	}
	err = k.view(func(v *eventlog.View) error {
		return v.Persons(func(e events.KeyEntry) (bool, error) {
			sealed, err := k.k.Seal(e)
			if err == nil {
				err = w.AddKey(sealed)
			}
			n++
			return err == nil, err
		})
	})
	return n, err
}

// keysAtOnce is how many keys of a bundle are kept in one action.
const keysAtOnce = 2000

// takingKeys takes the keys of a bundle, some at a time.
type takingKeys struct {
	k                      *keyring.Keeper
	some                   []events.KeyEntry
	took, waiting, refused int
}

func (s *Shop) takingKeys(b *replicate.Bench) *takingKeys { return &takingKeys{k: s.keeper(b)} }

func (t *takingKeys) take(sealed []byte) error {
	p, err := keyring.ReadPlace(sealed)
	if err != nil && !errors.Is(err, keyring.ErrNewer) {
		t.refused++
		return nil
	}
	e, said := t.k.Open(sealed, p.Person)
	if t.note(said); said != 0 {
		return nil
	}
	if t.some = append(t.some, e); len(t.some) < keysAtOnce {
		return nil
	}
	return t.flush()
}

func (t *takingKeys) note(said keyring.Verdict) {
	switch said {
	case keyring.Took:
		t.took++
	case keyring.Waits:
		t.waiting++
	case keyring.Refused:
		t.refused++
	}
}

func (t *takingKeys) flush() error {
	if len(t.some) == 0 {
		return nil
	}
	said, err := t.k.Take(context.Background(), t.some, nil)
	for _, v := range said {
		t.note(v)
	}
	t.some = t.some[:0]
	return err
}

func (t *takingKeys) says() []string { return saysOfKeys(t.waiting, t.refused) }
