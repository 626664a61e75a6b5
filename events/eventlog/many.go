package eventlog

import (
	"bytes"
	"slices"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// An iterator costs more to make than to move, and one for each key of many that lie
// in order is most of what reading them costs.

// values reads the values of keys, which are in order; nil is that there is none.
func values(r reader, keys [][]byte) ([][]byte, error) {
	vals := make([][]byte, len(keys))
	if len(keys) == 0 {
		return vals, nil
	}
	behind := append(bytes.Clone(keys[len(keys)-1]), 0)
	err := between(r, keys[0], behind, func(it *pebble.Iterator) error {
		for i, k := range keys {
			if !it.SeekGE(k) {
				return readError(it.Error()) // nothing is behind either
			}
			if !bytes.Equal(it.Key(), k) {
				continue
			}
			v, err := it.ValueAndErr()
			if err != nil {
				return readError(err)
			}
			vals[i] = append([]byte{}, v...)
		}
		return nil
	})
	return vals, err
}

// inOrder gives keys in order, each made of one of the ids, and where each comes from.
func inOrder(ids [][16]byte, key func([16]byte) []byte) (keys [][]byte, from []int) {
	for i := range ids {
		from = append(from, i)
	}
	slices.SortFunc(from, func(a, b int) int { return bytes.Compare(ids[a][:], ids[b][:]) })
	for _, i := range from {
		keys = append(keys, key(ids[i]))
	}
	return keys, from
}

// lists reads the lists of several subjects.
func (tx *Tx) lists(subjects [][16]byte) ([][]byte, error) {
	keys, from := inOrder(subjects, subjectKey)
	vals, err := values(tx.log.db, keys)
	if err != nil {
		return nil, err
	}
	lists := make([][]byte, len(subjects))
	for n, i := range from {
		s := subjects[i]
		lists[i] = slices.Concat(vals[n], tx.base.lists[s], tx.layer.lists[s])
	}
	return lists, nil
}

// Persons is Person of several.
func (tx *Tx) Persons(of []events.PersonID) (map[events.PersonID]events.KeyEntry, error) {
	ids := make([][16]byte, len(of))
	for i, p := range of {
		ids[i] = p
	}
	keys, from := inOrder(ids, func(p [16]byte) []byte { return keyringKey(p) })
	vals, err := values(tx.log.db, keys)
	if err != nil {
		return nil, err
	}
	here := make(map[events.PersonID]events.KeyEntry, len(of))
	for n, i := range from {
		v, changed := tx.changed(keys[n])
		if !changed {
			v = vals[n]
		}
		if here[of[i]], err = keyEntry(of[i], v, nil); err != nil {
			return nil, err
		}
	}
	return here, nil
}
