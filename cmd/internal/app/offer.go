package app

import (
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
	return im.shop.view(func(v *eventlog.View) error {
		known, err := im.serials(v)
		if err != nil {
			return err
		}
		for _, f := range im.fresh {
			if err := im.offerFor(v, f, known); err != nil {
				return err
			}
		}
		return nil
	})
}

// serials are all serials by their keys: of the shop, and of units that a dry
// run only made in passing.
func (im *importer) serials(v *eventlog.View) (map[string][]freshUnit, error) {
	known := map[string][]freshUnit{}
	fresh := map[events.UnitID]bool{}
	for _, f := range im.fresh {
		fresh[f.id] = true
		if key := events.Key(f.serial); len(key) >= shortestSerial {
			known[key] = append(known[key], f)
		}
	}
	err := projections.EachSerial(v, func(key string, root events.UnitID) (bool, error) {
		if !fresh[root] && len(key) >= shortestSerial {
			known[key] = append(known[key], freshUnit{id: root})
		}
		return true, nil
	})
	return known, err
}

// shortestSerial is how long a serial is at least for a slip to mean anything:
// of two-digit serials every one is a slip from many.
const shortestSerial = 5

func (im *importer) offerFor(v *eventlog.View, f freshUnit, known map[string][]freshUnit) error {
	key := events.Key(f.serial)
	if len(key) < shortestSerial {
		return nil
	}
	offered := map[events.UnitID]bool{f.id: true}
	var err error
	projections.OneSlip(key, func(near string) {
		for _, other := range known[near] {
			if err != nil || offered[other.id] {
				continue
			}
			if other.maker == "" && other.model == "" {
				if other, err = kindOf(v, other.id); err != nil {
					continue
				}
			}
			if events.Key(other.maker) != events.Key(f.maker) || events.Key(other.model) != events.Key(f.model) {
				continue
			}
			offered[other.id] = true
			im.pair(other, f, 1-1/float64(max(len(key), len(near))))
		}
	})
	return err
}

func kindOf(v *eventlog.View, root events.UnitID) (freshUnit, error) {
	h, err := load(v, root)
	if err != nil {
		return freshUnit{}, err
	}
	return freshUnit{root, firstTag(h), h.Maker, h.Model, h.Serial}, nil
}

// pair notes two units once, the one named first in front.
func (im *importer) pair(a, b freshUnit, likeness float64) {
	if a.id.Compare(b.id) > 0 {
		a, b = b, a
	}
	likely := func(f freshUnit) Likely {
		return Likely{f.id.String(), f.tag, f.maker, f.model, f.serial, likeness, "serial with one slip"}
	}
	for _, p := range im.res.LikelySame {
		if p.A.Unit == a.id.String() && p.B.Unit == b.id.String() {
			return
		}
	}
	im.res.LikelySame = append(im.res.LikelySame, SamePair{likely(a), likely(b), likeness})
}
