package keyring

import (
	"context"
	"errors"
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/seal"
)

// Keeper is a bench's keyring with what is needed to judge what comes to it.
type Keeper struct {
	Log  *eventlog.Log
	Keys Keys
	// Sealing is the shop's key for what is sealed from here on; false where
	// this bench has none.
	Sealing func() (epoch uint32, key seal.Key, ok bool)
	Random  io.Reader // a source of secrets
	// OwnerSigned checks an owner's signature over a statement.
	OwnerSigned func(statement, signature []byte) error
}

// Verdict is what came of an entry.
type Verdict uint8

// The verdicts. The zero one is none.
const (
	Took    Verdict = iota + 1 // it changed the keyring
	Known                      // the keyring had it, or what is kept before it
	Waits                      // what proves it is not here yet: events of the person, or the shop's key
	Refused                    // it is not what it claims to be
)

// Seal seals an entry for the benches that are at work.
func (k *Keeper) Seal(e events.KeyEntry) ([]byte, error) {
	epoch, key, ok := k.Sealing()
	if !ok {
		return nil, fmt.Errorf("seal the key of person %s: no key of the shop: %w", e.Person, ErrNoKey)
	}
	return Seal(k.Log.Shop(), epoch, key, e, k.Random)
}

// Open opens what came of a person. Waits says that the shop's key is missing,
// perhaps another one of the same epoch, or that a newer program may read it, and
// Refused that it will never open.
func (k *Keeper) Open(b []byte, person events.PersonID) (events.KeyEntry, Verdict) {
	e, err := Open(b, k.Log.Shop(), person, k.Keys)
	switch {
	case err == nil:
		return e, 0
	case errors.Is(err, ErrNoKey), errors.Is(err, ErrSeal), errors.Is(err, ErrNewer):
		return e, Waits
	}
	return e, Refused
}

// Take keeps what is proven of opened entries, in one action, and gives a
// verdict on each. Also writes more in the same action; nil writes nothing.
func (k *Keeper) Take(ctx context.Context, entries []events.KeyEntry, also func(*eventlog.Tx, []Verdict) error) (said []Verdict, err error) {
	err = k.Log.Append(ctx, func(tx *eventlog.Tx) error {
		said = make([]Verdict, len(entries))
		here, recorded, err := known(tx, entries)
		if err != nil {
			return err
		}
		for i, e := range entries {
			if said[i], err = k.take(tx, e, here, recorded[e.Person]); err != nil {
				return err
			}
		}
		if also == nil {
			return nil
		}
		return also(tx, said)
	})
	if err != nil {
		return nil, fmt.Errorf("keep keys of %d persons: %w", len(entries), err)
	}
	return said, nil
}

// known is what the keyring has of the persons of whom something came, and their events
// where that is something else. All are asked for at once.
func known(tx *eventlog.Tx, came []events.KeyEntry) (here map[events.PersonID]events.KeyEntry, recorded map[events.PersonID][]events.Event, err error) {
	of := make([]events.PersonID, len(came))
	for i, e := range came {
		of[i] = e.Person
	}
	if here, err = tx.Persons(of); err != nil {
		return nil, nil, err
	}
	recorded = map[events.PersonID][]events.Event{}
	var asked [][16]byte
	for _, e := range came {
		if _, twice := recorded[e.Person]; !twice && here[e.Person] != e {
			recorded[e.Person] = nil
			asked = append(asked, e.Person)
		}
	}
	evs, err := tx.EventsOf(asked)
	if err != nil {
		return nil, nil, err
	}
	for i, p := range asked {
		recorded[p] = evs[i]
	}
	return here, recorded, nil
}

// take keeps what is proven of an entry, and what is kept now among what is here.
func (k *Keeper) take(tx *eventlog.Tx, came events.KeyEntry, ring map[events.PersonID]events.KeyEntry, recorded []events.Event) (Verdict, error) {
	have := ring[came.Person]
	here := have
	if here == came {
		return Known, nil
	}
	if v := k.judge(came, recorded); v != 0 {
		if here.Forgotten() {
			v = Known
		}
		return v, nil
	}
	if !here.IsNothing() && !here.Forgotten() && !here.Opens(recorded) {
		here = events.KeyEntry{Person: here.Person} // it came another way and opens nothing
	}
	kept := Merge(here, came)
	if kept == here {
		return Known, nil
	}
	ring[came.Person] = kept
	return Took, tx.KeepPersonOver(have, kept)
}

// judge gives zero for what is proven.
func (k *Keeper) judge(e events.KeyEntry, recorded []events.Event) Verdict {
	switch {
	case e.Forgotten():
		if k.OwnerSigned(events.ForgetStatement(k.Log.Shop(), e.Person), e.Order[:]) != nil {
			return Refused
		}
	case e.Opens(recorded):
	case Recorded(recorded):
		return Refused
	default:
		return Waits
	}
	return 0
}

// Recorded reports whether there is a record of a person among events.
func Recorded(evs []events.Event) bool {
	for _, e := range evs {
		if e.Kind == events.KindPersonRecorded {
			return true
		}
	}
	return false
}
