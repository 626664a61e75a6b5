package projections

import (
	"encoding/binary"
	"slices"

	"oldhand/events"
)

// Rows of one shipped visit: that the unit was back after so many days, or not
// since it was shipped; for any fault and for the same, in one row where both are so.
// Rows of one unit: the day it
// was first shipped on, and at which ages it was back, in days since then. All hang
// on days that stay what they are: none is counted up to the day somebody asks.
//
//	'a', 's' or 'b' 'e' days             -> visits, of any fault, the same, or both
//	'a', 's' or 'b' 'n' day shipped      -> visits
//	'w' day first shipped                -> units
//	'r' age                              -> returns
//	'u' day first shipped, ages          -> units back at those
//	'o' returns, day first shipped, root -> 1, of a unit that was back twice or more
const (
	backAny   = 'a'
	backSame  = 's'
	backBoth  = 'b'
	backFirst = 'w'
	backAges  = 'r'
	backUnits = 'u'
	backOften = 'o'

	backEvent = 'e'
	backNever = 'n'
)

// oftenFrom is from how many returns on a unit is looked at by itself.
const oftenFrom = 2

// comeBackHead has days that are near each other in one block: 256 of them where a
// day has one number, 16 where it has as many as units were back.
func comeBackHead(row []byte) int {
	switch row[0] {
	case backOften:
		return len(row)
	case backFirst, backAges:
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
	w, ok := h.watched()
	if !ok {
		return
	}
	to.add(to.key(backFirst).num(int(w.from)))
	for _, age := range w.ages {
		to.add(to.key(backAges).num(age))
	}
	if len(w.ages) > 0 {
		to.add(w.row(to.key(backUnits)))
	}
	if len(w.ages) >= oftenFrom {
		to.add(append(to.key(backOften).num(len(w.ages)).num(int(w.from)), h.Root[:]...))
	}
}

// row goes on with the row of a unit that was back. Its day is in two parts, of which
// the first is in the key.
func (w watching) row(row rowKey) rowKey {
	day := int(w.from) + dayZero
	row = row.num(day/16 - dayZero).byte(byte(day % 16))
	for _, age := range slices.Sorted(slices.Values(w.ages)) {
		row = binary.AppendUvarint(row, uint64(age))
	}
	return row
}

// oftenRow is what the rows of units begin with that were first shipped on a day and
// back so often.
func oftenRow(returns int, from events.Day) rowKey {
	return rowKey{backOften}.num(returns).num(int(from))
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
