package projections

import (
	"bytes"
	"runtime"
	"slices"

	"oldhand/events"
)

// concernedReaders read the stored history of every unit that a question may be about:
// of all of a maker, a model or days where it is about those, and every history where it
// is about all. What that costs goes by how many those are; many are read side by side.
//
// Lists are read from one reader and histories from another, of the same view.
func concernedReaders(r, histories Reader, a Asked) (readers []eachStored, err error) {
	if a.Maker == "" && a.Model == "" && a.From == nil && a.To == nil {
		return []eachStored{func(fn func([]byte) error) error { return eachHistoryStored(histories, fn) }}, nil
	}
	ids, err := concerned(r, a)
	if err != nil {
		return nil, err
	}
	ids = slices.Compact(ids)
	some := max(1, len(ids))
	if some > mostLeaps {
		histories, some = notNoting(histories), 1+some/runtime.GOMAXPROCS(0)
	}
	for ids := range slices.Chunk(ids, some) {
		readers = append(readers, func(fn func([]byte) error) error { return eachHistoryOf(histories, ids, fn) })
	}
	return readers, nil
}

// eachHistoryOf calls fn with the stored histories of units whose ids are in order and
// which stand under their own, on one way through all, which takes less than to look each
// up by itself. One that is missing is an error.
func eachHistoryOf(r Reader, ids []events.UnitID, fn func(stored []byte) error) error {
	if len(ids) == 0 {
		return nil
	}
	next := historyKey(ids[0])
	err := r.Leap(next, after(historyKey(ids[len(ids)-1])), func(k, v []byte) ([]byte, error) {
		switch c := bytes.Compare(k, next); {
		case c < 0:
			return next, nil
		case c > 0:
			return nil, errView
		}
		if err := fn(v); err != nil {
			return nil, err
		}
		if ids = ids[1:]; len(ids) == 0 {
			return nil, nil
		}
		next = historyKey(ids[0])
		return next, nil
	})
	if err == nil && len(ids) > 0 {
		return errView
	}
	return err
}

// concerned are the units of a maker, a model and of days in which they were
// received, as far as a question names those, in the order first named.
func concerned(r Reader, a Asked) ([]events.UnitID, error) {
	named := a.Maker != "" || a.Model != ""
	ids, err := ofModels(r, a)
	if err != nil || a.From == nil && a.To == nil {
		return ids, err
	}
	in := map[events.UnitID]bool{}
	lo, hi := []byte{'l', byReceived}, after([]byte{'l', byReceived})
	if a.From != nil {
		lo = append(lo, dayText(*a.From)...)
	}
	if a.To != nil {
		hi = after(append([]byte{'l', byReceived}, dayText(*a.To)...))
	}
	err = scanRoots(r, lo, hi, func(id events.UnitID) {
		if !named && !in[id] {
			ids = append(ids, id)
		}
		in[id] = true
	})
	if named {
		ids = slices.DeleteFunc(ids, func(id events.UnitID) bool { return !in[id] })
	}
	slices.SortFunc(ids, events.UnitID.Compare)
	return ids, err
}

// ofModels are the units of a maker, of a model, or of both; none where neither
// is named.
func ofModels(r Reader, a Asked) (ids []events.UnitID, err error) {
	maker, model := events.Key(a.Maker), events.Key(a.Model)
	add := func(id events.UnitID) { ids = append(ids, id) }
	switch {
	case a.Maker == "" && a.Model == "":
		return nil, nil
	case a.Maker != "" && a.Model != "":
		lo := termPrefix(byModel, modelText(a.Maker, a.Model))
		err = scanRoots(r, lo, after(lo), add)
	case a.Maker != "":
		lo := termPrefix(byModel, []byte(maker))
		err = scanRoots(r, lo, after(lo), add)
	default:
		err = EachModel(r, func(_, m string, prefix []byte) (bool, error) {
			if m != model {
				return true, nil
			}
			return true, scanRoots(r, prefix, after(prefix), add)
		})
	}
	slices.SortFunc(ids, events.UnitID.Compare)
	return ids, err
}

// scanRoots calls fn with the unit at the end of each key.
func scanRoots(r Reader, lo, hi []byte, fn func(events.UnitID)) error {
	return r.Scan(lo, hi, func(k, _ []byte) (bool, error) {
		root, ok := rootOf(k)
		if !ok {
			return false, errView
		}
		fn(root)
		return true, nil
	})
}
