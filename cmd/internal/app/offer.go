package app

import (
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// offer lists, for the units that a reading named first, those whose serial is
// one slip of the hand away: likely the same set, for a person to say.
//
// Every serial that one slip could make of a new one is looked up among all
// serials, so that it costs the same for each however many there are.
func (im *importer) offer() error {
	if len(im.fresh) == 0 {
		return nil
	}
	im.persons = nil // who is known is not asked any more
	return im.shop.view(func(v *eventlog.View) error {
		known, err := serialsIn(v)
		if err != nil {
			return err
		}
		for _, id := range im.fresh {
			if err := im.offerFor(v, id, known); err != nil {
				return err
			}
		}
		return nil
	})
}

// serialsIn are all serials of the shop by their keys.
func serialsIn(v *eventlog.View) (map[string][]events.UnitID, error) {
	known := map[string][]events.UnitID{}
	err := projections.EachSerial(v, func(key string, root events.UnitID) (bool, error) {
		if len(key) >= shortestSerial {
			known[key] = append(known[key], root)
		}
		return true, nil
	})
	return known, err
}

// shortestSerial is how long a serial is at least for a slip to mean anything:
// of two-digit serials every one is a slip from many.
const shortestSerial = 5

func (im *importer) offerFor(v *eventlog.View, id events.UnitID, known map[string][]events.UnitID) error {
	f, err := candidateOf(v, id)
	key := events.Key(f.serial)
	if err != nil || len(key) < shortestSerial {
		return err
	}
	offered := map[events.UnitID]bool{id: true}
	projections.OneSlip(key, func(near string) {
		for _, other := range known[near] {
			if err != nil || offered[other] {
				continue
			}
			var o candidate
			if o, err = candidateOf(v, other); err != nil || events.Key(o.maker) != events.Key(f.maker) || events.Key(o.model) != events.Key(f.model) {
				continue
			}
			offered[other] = true
			im.pair(o, f, 1-1/float64(max(len(key), len(near))))
		}
	})
	return err
}

// candidateOf is what is said of a unit.
func candidateOf(v *eventlog.View, id events.UnitID) (candidate, error) {
	h, err := load(v, id)
	if err != nil {
		return candidate{}, err
	}
	return candidate{id, firstTag(h), h.Maker, h.Model, h.Serial}, nil
}

// pair notes two units once, the one named first in front.
func (im *importer) pair(a, b candidate, likeness float64) {
	if a.id.Compare(b.id) > 0 {
		a, b = b, a
	}
	both := [2]events.UnitID{a.id, b.id}
	if im.paired[both] {
		return
	}
	im.paired[both] = true
	likely := func(f candidate) Likely {
		l := Likely{f.id.String(), f.tag, f.maker, f.model, f.serial, likeness, "serial with one slip"}
		if _, fresh := slices.BinarySearchFunc(im.fresh, f.id, events.UnitID.Compare); fresh && im.opt.DryRun {
			l.Unit = "" // nobody can ask for it
		}
		return l
	}
	im.res.LikelySame = append(im.res.LikelySame, SamePair{likely(a), likely(b), likeness})
}
