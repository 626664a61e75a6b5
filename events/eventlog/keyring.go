package eventlog

import (
	"fmt"

	"oldhand/events"
)

// The keyring lies beside the log: it can change and lose what it holds, which
// the log can't. A row is a person's key, or the owner's order to forget the
// person, which stays in its place for ever: no key that comes later, by an old
// bundle or from an old export, is put there again (P15).

// KeepPerson keeps what a keyring has of a person. A person who was forgotten
// stays so: a key is refused with ErrForgotten and nothing changes.
func (tx *Tx) KeepPerson(e events.KeyEntry) error {
	have, err := tx.Person(e.Person)
	if err != nil {
		return err
	}
	return tx.KeepPersonOver(have, e)
}

// KeepPersonOver is KeepPerson for who has just read what the keyring has.
func (tx *Tx) KeepPersonOver(have, e events.KeyEntry) error {
	if e.Forgotten() {
		tx.layer.put(keyringKey(e.Person), e.Order[:])
		tx.layer.put(metaScour, []byte{1})
		return nil
	}
	if have.Forgotten() {
		return fmt.Errorf("keep the key of person %s: %w", e.Person, events.ErrForgotten)
	}
	tx.layer.put(keyringKey(e.Person), e.Key[:])
	return nil
}

// PutPersonKey keeps a person's key, beside the log, as KeepPerson does.
func (tx *Tx) PutPersonKey(p events.PersonID, k events.PersonKey) error {
	return tx.KeepPerson(events.KeyEntry{Person: p, Key: k})
}

// Person is what the keyring has of a person, through this action; nothing
// where there is no row.
func (tx *Tx) Person(p events.PersonID) (events.KeyEntry, error) {
	v, err := tx.raw(keyringKey(p))
	return keyEntry(p, v, err)
}

// PersonKey is a person's key, or ErrForgotten.
func (tx *Tx) PersonKey(p events.PersonID) (events.PersonKey, error) { return keyOf(tx.Person(p)) }

// Person is what the keyring has of a person; nothing where there is no row.
func (v *View) Person(p events.PersonID) (events.KeyEntry, error) {
	if v.blind {
		return events.KeyEntry{Person: p}, nil
	}
	val, err := get(v.snap, keyringKey(p))
	return keyEntry(p, val, err)
}

// PersonKey is a person's key, or ErrForgotten.
func (v *View) PersonKey(p events.PersonID) (events.PersonKey, error) { return keyOf(v.Person(p)) }

// Persons calls fn with every row of the keyring, by person, until fn gives
// false.
func (v *View) Persons(fn func(events.KeyEntry) (bool, error)) error {
	return v.persons([]byte{famKeyring}, []byte{famKeyring + 1}, fn)
}

// PersonsBeginning is Persons for those whose ids begin with a byte.
func (v *View) PersonsBeginning(b byte, fn func(events.KeyEntry) (bool, error)) error {
	hi := []byte{famKeyring, b + 1}
	if b == 0xff {
		hi = []byte{famKeyring + 1}
	}
	return v.persons([]byte{famKeyring, b}, hi, fn)
}

func (v *View) persons(lo, hi []byte, fn func(events.KeyEntry) (bool, error)) error {
	if v.blind {
		return nil
	}
	return scan(v.snap, lo, hi, func(k, val []byte) (bool, error) {
		if len(k) != 1+len(events.PersonID{}) {
			return false, fmt.Errorf("keyring row of %d bytes: %w", len(k), ErrDamaged)
		}
		e, err := keyEntry(events.PersonID(k[1:]), val, nil)
		if err != nil {
			return false, err
		}
		return fn(e)
	})
}

// PersonKeys calls fn with every key kept.
func (v *View) PersonKeys(fn func(events.PersonID, events.PersonKey) error) error {
	return v.Persons(func(e events.KeyEntry) (bool, error) {
		if e.Forgotten() {
			return true, nil
		}
		return true, fn(e.Person, e.Key)
	})
}

func keyOf(e events.KeyEntry, err error) (events.PersonKey, error) {
	if err == nil && (e.Forgotten() || e.IsNothing()) {
		err = events.ErrForgotten
	}
	return e.Key, err
}

func keyEntry(p events.PersonID, v []byte, err error) (events.KeyEntry, error) {
	e := events.KeyEntry{Person: p}
	switch {
	case err != nil:
		return e, err
	case v == nil:
		return e, nil
	case len(v) == len(e.Key):
		copy(e.Key[:], v)
	case len(v) == len(e.Order):
		copy(e.Order[:], v)
	default:
		return e, fmt.Errorf("person's key of %d bytes: %w", len(v), ErrDamaged)
	}
	if e.IsNothing() {
		return e, fmt.Errorf("key of person %s is all zeros: %w", p, ErrDamaged)
	}
	return e, nil
}
