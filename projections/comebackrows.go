package projections

import (
	"encoding/binary"
	"slices"

	"oldhand/events"
)

// Rows of one shipped visit: that the unit was back after so many days, or not
// since it was shipped; for any fault and for the same, in one row where both are so.
// Rows of one unit: the day it was first shipped on, and at which ages it was back, in
// days since then: each by itself, with the day, and with each later one. All hang on
// days that stay what they are: none is counted up to the day somebody asks.
//
//	'a', 's' or 'b' 'e' days                    -> visits, of any fault, the same, or both
//	'a', 's' or 'b' 'n' day shipped             -> visits
//	'w' day first shipped                       -> units
//	'r' age                                     -> returns
//	'f' day first shipped, age                  -> returns
//	'p' age, earlier age                        -> pairs of returns of one unit
//	'l' root, ages                              -> 1, of a unit with too many returns to pair
//	'k' returns                                 -> units that were back twice or more
//	'm' day first shipped, returns              -> the same
//	'o' returns, day first shipped, root, names -> 1, of such a unit
const (
	backAny   = 'a'
	backSame  = 's'
	backBoth  = 'b'
	backFirst = 'w'
	backAges  = 'r'
	backFrom  = 'f'
	backPairs = 'p'
	backLong  = 'l'
	backTimes = 'k'
	backMany  = 'm'
	backOften = 'o'

	backEvent = 'e'
	backNever = 'n'
)

const (
	oftenFrom  = 2  // from how many returns on a unit is looked at by itself
	mostPaired = 32 // returns of a unit of which each two are a row: a fact more would change them all
	nearDays   = 32 // days that share a block where each has as many rows as there were returns
)

// comeBackHead has days that are near each other in one block: 256 of them where a
// day has few numbers.
func comeBackHead(row []byte) int {
	switch row[0] {
	case backOften:
		return len(row)
	case backTimes:
		return 1
	case backLong:
		return min(1+len(events.UnitID{}), len(row))
	case backFirst, backAges, backMany:
		return min(4, len(row))
	}
	return min(5, len(row))
}

func comeBackRows(h *History, to *rowList) {
	for i, v := range h.Visits {
		if v.End != Ended || v.Shipped.Precision == events.Unknown {
			continue
		}
		next, same := h.nextVisit(i, func(*Visit) bool { return true }), h.nextVisit(i, v.sharesFault)
		if next == same {
			to.add(backRow(to.key(backBoth), v, next))
			continue
		}
		to.add(backRow(to.key(backAny), v, next))
		to.add(backRow(to.key(backSame), v, same))
	}
	if w, ok := h.watched(); ok {
		w.rows(h, to)
	}
}

// rows are those of one unit.
func (w watching) rows(h *History, to *rowList) {
	from := int(w.from)
	to.add(to.key(backFirst).num(from))
	slices.Sort(w.ages)
	for i, age := range w.ages {
		to.add(to.key(backAges).num(age))
		to.add(to.key(backFrom).nearDay(from).age(age))
		for _, earlier := range w.ages[:choose(len(w.ages) <= mostPaired, i, 0)] {
			to.add(to.key(backPairs).nearDay(age).age(earlier))
		}
	}
	if len(w.ages) > mostPaired {
		row := append(to.key(backLong), h.Root[:]...)
		for _, age := range w.ages {
			row = row.num(age)
		}
		to.add(row)
	}
	if len(w.ages) >= oftenFrom {
		to.add(to.key(backTimes).num(len(w.ages)))
		to.add(binary.AppendUvarint(to.key(backMany).num(from), uint64(len(w.ages))))
		row := append(oftenRow(to.key(backOften), len(w.ages), w.from), h.Root[:]...)
		to.add(row.text(h.Maker).text(h.Model).text(h.tag()))
	}
}

// tag is the first that a unit was given.
func (h *History) tag() string {
	if len(h.Tags) == 0 {
		return ""
	}
	return h.Tags[0]
}

// nearDay goes on with a day in two parts, of which the first is in the key.
func (k rowKey) nearDay(day int) rowKey {
	return k.stretch(day).byte(byte((day + dayZero) % nearDays))
}

// stretch is the first of the two.
func (k rowKey) stretch(day int) rowKey { return k.num((day+dayZero)/nearDays - dayZero) }

// age goes on with an age, which is less than mostDays.
func (k rowKey) age(age int) rowKey { return append(k, byte(age>>16), byte(age>>8), byte(age)) }

// oftenRow goes on with what the rows of units begin with that were first shipped on a
// day and back so often.
func oftenRow(k rowKey, returns int, from events.Day) rowKey {
	return k.num(returns).num(int(from))
}

// backRow goes on with the row of a visit and the next of its unit, if there is one.
func backRow(k rowKey, v Visit, next *Visit) rowKey {
	if next == nil {
		return k.byte(backNever).num(int(v.Shipped.Day))
	}
	return k.byte(backEvent).num(max(0, int(next.Received.Day-v.Shipped.Day)))
}

// nextVisit is the first later visit that began on a known day and is one of
// those looked for.
func (h *History) nextVisit(i int, looked func(*Visit) bool) *Visit {
	for j := i + 1; j < len(h.Visits); j++ {
		if v := &h.Visits[j]; v.Received.Precision != events.Unknown && looked(v) {
			return v
		}
	}
	return nil
}

// sharesFault reports whether a fault of this visit was found at another too. A
// visit with no fault written down has none to come back for.
func (v Visit) sharesFault(other *Visit) bool {
	mine := faultsOf([]Visit{v}, nil)
	return slices.ContainsFunc(faultsOf([]Visit{*other}, nil), func(f fault) bool { return slices.Contains(mine, f) })
}

// watching is a unit's returns from the day it was first shipped.
type watching struct {
	from events.Day
	ages []int
}

func (h *History) watched() (w watching, ok bool) {
	for _, v := range h.Visits {
		switch {
		case ok && v.Received.Precision != events.Unknown:
			w.ages = append(w.ages, max(0, int(v.Received.Day-w.from)))
		case !ok && v.End == Ended && v.Shipped.Precision != events.Unknown:
			w.from, ok = v.Shipped.Day, true
		}
	}
	return w, ok
}
