package eventlog

import (
	"bytes"
	"slices"
	"sort"

	"github.com/cockroachdb/pebble/v2"
)

// Leap calls fn with pairs of the projections' views from lo to below hi, in the
// order of their keys, and goes from each to where fn says: to the first pair that is
// not before the key it gives, or to the next pair where that key is not behind the
// one it was called with. It ends where fn gives nil. Key and value are good until fn
// returns.
//
// It is a Scan for whoever looks into many places: an iterator costs more to make
// than to move, and one that stands in front of the next place often need not move.
func (v *View) Leap(lo, hi []byte, fn func(k, v []byte) (to []byte, err error)) error {
	return leap(v.snap, nil, viewKey(lo), viewKey(hi), fn)
}

// Leap is that of a view, with the changes of the action.
func (tx *Tx) Leap(lo, hi []byte, fn func(k, v []byte) (to []byte, err error)) error {
	from, below := viewKey(lo), viewKey(hi)
	return leap(tx.log.db, tx.overlay(string(from), string(below)), from, below, fn)
}

// leap goes over views with changes laid on them, which are in order and between the
// two keys. The keys that fn is given and gives are without the family's byte.
func leap(r reader, over []change, lo, hi []byte, fn func(k, v []byte) (to []byte, err error)) error {
	return between(r, lo, hi, func(it *pebble.Iterator) error {
		l := leaping{it: it, over: over, found: it.First()}
		return l.run(hi, fn)
	})
}

func (l *leaping) run(hi []byte, fn func(k, v []byte) (to []byte, err error)) error {
	for {
		k, v, err := l.pair()
		if err != nil || k == nil {
			return err
		}
		to := k[1:]
		if v != nil {
			if to, err = fn(k[1:], v); err != nil || to == nil {
				return err
			}
		}
		switch {
		case bytes.Compare(to, k[1:]) <= 0:
			l.next(k)
		case bytes.Compare(to, hi[1:]) >= 0:
			return nil
		default:
			l.goTo(to)
		}
	}
}

// leaping is where in the store and in the changes laid on it a leap stands.
type leaping struct {
	it    *pebble.Iterator
	found bool     // the iterator stands on a pair
	over  []change // the rest of them
	to    []byte   // where it went last, a buffer
}

// pair is the first of what is left; no key where nothing is, and no value where a
// change took the pair away.
func (l *leaping) pair() (k, v []byte, err error) {
	if !l.found {
		if err := l.it.Error(); err != nil {
			return nil, nil, readError(err)
		}
	}
	if len(l.over) > 0 && (!l.found || l.over[0].k <= string(l.it.Key())) {
		return []byte(l.over[0].k), l.over[0].v, nil
	}
	if !l.found {
		return nil, nil, nil
	}
	if v, err = l.it.ValueAndErr(); err != nil {
		return nil, nil, readError(err)
	}
	if v == nil {
		v = []byte{}
	}
	return l.it.Key(), v, nil
}

// next leaves a pair behind, the one that it stands on.
func (l *leaping) next(k []byte) {
	changed := len(l.over) > 0 && l.over[0].k == string(k)
	if l.found && (!changed || bytes.Equal(l.it.Key(), k)) {
		l.found = l.it.Next()
	}
	if changed {
		l.over = l.over[1:]
	}
}

// goTo leaves behind what is before a key.
func (l *leaping) goTo(to []byte) {
	l.to = append(append(slices.Grow(l.to[:0], 1+len(to)), famView), to...)
	if l.found && bytes.Compare(l.it.Key(), l.to) < 0 {
		l.found = l.it.SeekGE(l.to)
	}
	l.over = l.over[sort.Search(len(l.over), func(i int) bool { return l.over[i].k >= string(l.to) }):]
}
