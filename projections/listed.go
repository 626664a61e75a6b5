package projections

import (
	"errors"
	"slices"

	"oldhand/events"
)

// EachPerson calls fn with what is known of every customer who was not
// forgotten.
func EachPerson(r Reader, keys Opener, fn func(events.PersonID, events.Personal) (bool, error)) error {
	return r.Scan([]byte{'p'}, []byte{'p' + 1}, func(k, v []byte) (bool, error) {
		if len(k) != 17 || len(v) < 16 {
			return false, errView
		}
		id := events.PersonID(k[1:])
		key, err := keys.PersonKey(id)
		if errors.Is(err, events.ErrForgotten) {
			return true, nil
		}
		if err != nil {
			return false, err
		}
		p, err := events.PersonRecorded{Sealed: v[16:]}.Open(id, key)
		if err != nil {
			return false, err
		}
		return fn(id, p)
	})
}

// PersonOf is what is known of one customer; nothing of one who is not recorded or
// was forgotten.
func PersonOf(r Reader, keys Opener, id events.PersonID) (p events.Personal, err error) {
	sealed, known, err := Person(r, id)
	if err != nil || !known {
		return p, err
	}
	key, err := keys.PersonKey(id)
	if errors.Is(err, events.ErrForgotten) {
		return p, nil
	}
	if err != nil {
		return p, err
	}
	return sealed.Open(id, key)
}

// EachOrder calls fn with every order to forget a customer, by person. Anybody
// could have written one: whether an owner signed it is for the reader to check.
func EachOrder(r Reader, fn func(events.PersonID, events.ForgetOrder) (bool, error)) error {
	return r.Scan([]byte{'o'}, []byte{'o' + 1}, func(k, _ []byte) (bool, error) {
		var order events.ForgetOrder
		if len(k) != 1+16+len(order) {
			return false, errView
		}
		copy(order[:], k[17:])
		return fn(events.PersonID(k[1:17]), order)
	})
}

// Lookups by exact text, for what needs no likeness.

// ByTag gives the units that have a tag: one, unless a folder was copied and
// both copies went on giving out tags.
func ByTag(r Reader, tag string) ([]events.UnitID, error) { return listed(r, byTag, []byte(tag)) }

// BySerial gives the units that have a serial, however it was spelled.
func BySerial(r Reader, serial string) ([]events.UnitID, error) {
	key := events.Key(serial)
	if key == "" {
		return nil, nil
	}
	return listed(r, bySerial, []byte(key))
}

// ByRow gives the units that an imported row was taken for.
func ByRow(r Reader, key [16]byte) ([]events.UnitID, error) { return listed(r, byRow, key[:]) }

// ByJob gives the units that a job of an old book was taken for: of a number,
// received on a day.
func ByJob(r Reader, job string, received events.Day) ([]events.UnitID, error) {
	if events.Key(job) == "" {
		return nil, nil
	}
	return listed(r, byJob, jobText(job, received))
}

// ByModel gives the units of a model, however it is spelled, the one first named
// last in front: at most so many of them, and how many there are.
func ByModel(r Reader, maker, model string, limit int) (last []*History, n int, err error) {
	ids, err := listed(r, byModel, modelText(maker, model))
	if err != nil {
		return nil, 0, err
	}
	for _, id := range slices.Backward(ids) {
		if len(last) == limit {
			break
		}
		h, err := Load(r, id)
		if err != nil {
			return nil, 0, err
		}
		if h != nil {
			last = append(last, h)
		}
	}
	return last, len(ids), nil
}

// ByPerson gives the units that a customer brought in.
func ByPerson(r Reader, p events.PersonID) ([]events.UnitID, error) { return listed(r, byPerson, p[:]) }

func listed(r Reader, class byte, text []byte) (ids []events.UnitID, err error) {
	err = Each(r, class, text, func(id events.UnitID) (bool, error) {
		ids = append(ids, id)
		return true, nil
	})
	return ids, err
}

// EachOpen calls fn with the units that stand on a bench, longest first.
func EachOpen(r Reader, fn func(*History) (bool, error)) error { return eachListed(r, byOpen, fn) }

// OpenUnits are the units that stand on a bench, longest first. No history is
// read.
func OpenUnits(r Reader) (list []events.UnitID, err error) {
	lo := []byte{'l', byOpen}
	err = r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok {
			return false, errView
		}
		list = append(list, root)
		return true, nil
	})
	return list, err
}

// EachDisputed calls fn with the units of which versions of a fact are in
// conflict, in the order in which units were first named.
func EachDisputed(r Reader, fn func(*History) (bool, error)) error {
	return eachListed(r, byDispute, fn)
}

// eachListed calls fn with the units of a class, in the order of its keys.
func eachListed(r Reader, class byte, fn func(*History) (bool, error)) error {
	lo := []byte{'l', class}
	return r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok {
			return false, errView
		}
		h, err := Load(r, root)
		if err != nil {
			return false, err
		}
		if h == nil {
			return false, errView
		}
		return fn(h)
	})
}

// EachHistory calls fn with every unit's history, in the order in which units
// were first named.
func EachHistory(r Reader, fn func(*History) (bool, error)) error {
	err := eachHistoryStored(r, func(stored []byte) error {
		h, err := readHistory(slices.Clone(stored))
		if err != nil {
			return err
		}
		more, err := fn(h)
		if err == nil && !more {
			return errStopped
		}
		return err
	})
	if errors.Is(err, errStopped) {
		return nil
	}
	return err
}

// eachHistoryStored calls fn with every history as it is stored, until fn fails. It is
// good until fn returns.
func eachHistoryStored(r Reader, fn func(stored []byte) error) error {
	return r.Scan([]byte{'h'}, []byte{'h' + 1}, func(_, v []byte) (bool, error) {
		if len(v) > 0 && v[0] == isRedirect {
			return true, nil
		}
		return true, fn(v)
	})
}

// EachSerial calls fn with the key of every serial and the unit that has it.
func EachSerial(r Reader, fn func(key string, root events.UnitID) (bool, error)) error {
	lo := []byte{'l', bySerial}
	return r.Scan(lo, after(lo), func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok || len(k) < len(lo)+1+16 {
			return false, errView
		}
		return fn(string(k[len(lo):len(k)-17]), root)
	})
}
