package projections

import (
	"encoding/binary"
	"slices"
	"time"

	"oldhand/events"
)

// What a bench writes again and again it wrote lately: suggestions are read off a
// few units, found by when they were first named. However large the shop is, it
// costs the same.

// mostWalked is how many keys are walked at most for the latest of a model. Units
// of an old book were all named in one hour: among those, any will do.
const mostWalked = 5000

// windows are how far back is looked, until enough units are found.
var windows = []time.Duration{7 * 24 * time.Hour, 60 * 24 * time.Hour, 2 * 365 * 24 * time.Hour, 0}

// LatestOfModel gives the histories of the units of a maker and model that were
// named last, the last first, at most n.
func LatestOfModel(r Reader, maker, model string, now time.Time, n int) (list []*History, err error) {
	prefix := termPrefix(byModel, modelText(maker, model))
	var roots []events.UnitID
	for _, back := range windows {
		if roots, err = lastRoots(r, prefix, since(now, back), n); err != nil {
			return nil, err
		}
		if len(roots) >= n {
			break
		}
	}
	for i := len(roots) - 1; i >= 0; i-- {
		h, err := Load(r, roots[i])
		if err != nil {
			return nil, err
		}
		if h != nil {
			list = append(list, h)
		}
	}
	return list, nil
}

// lastRoots walks the keys of a prefix that end in a unit's id from a time on and
// gives the last n of them.
func lastRoots(r Reader, prefix, from []byte, n int) (roots []events.UnitID, err error) {
	walked := 0
	lo := append(append([]byte(nil), prefix...), from...)
	err = r.Scan(lo, after(prefix), func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok {
			return false, errView
		}
		if roots = append(roots, root); len(roots) > n {
			roots = roots[1:]
		}
		walked++
		return walked < mostWalked, nil
	})
	return roots, err
}

// Lately calls fn with units that were named lately, at most n: those of the
// shortest window in which there are enough.
func Lately(r Reader, now time.Time, n int, fn func(*History)) error {
	for _, back := range windows {
		var found []*History
		lo := append([]byte{'h'}, since(now, back)...)
		err := r.Scan(lo, []byte{'h' + 1}, func(_, v []byte) (bool, error) {
			if len(v) > 0 && v[0] == isRedirect {
				return true, nil
			}
			h, err := readHistory(slices.Clone(v)) // v is good here only
			found = append(found, h)
			return len(found) < n, err
		})
		if err != nil {
			return err
		}
		if len(found) < n && back != 0 {
			continue
		}
		for _, h := range found {
			fn(h)
		}
		return nil
	}
	return nil
}

// since is how the ids begin that were made from some time ago on; of all ids for
// no time.
func since(now time.Time, back time.Duration) []byte {
	if back == 0 {
		return nil
	}
	return binary.BigEndian.AppendUint64(nil, uint64(now.Add(-back).UnixMilli()))[2:]
}
