package projections

import (
	"encoding/binary"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// What sets read as they leave the shop, by model and test point. The rows of a
// history are here; the answer is in normsanswer.go.
//
// # Which reading counts
//
// A visit gives one reading a point and kind of measurement: the last one as
// left. Those before it were taken on the way, between two turns of a trimmer;
// to count them would let the sets that were hard to adjust speak loudest. Where
// the last one is words, the visit gives none: an earlier number is not what the
// set left with. A set that came twice gives two, each with other parts in it;
// how many sets there were is counted beside them. A set that left unrepaired
// gives none, since it does not say what a sound one reads.
//
// # The rows
//
//	'n' maker model point measure unit 's' maker model point   -> sets, by how they are spelled
//	'n' maker model point measure unit 'v' mantissa exponent   -> visits that left with this value
//	'x' why                                                    -> readings left out
//
// The first maker, model and point are as they are compared, so that one point
// of one model stands together under whatever spellings. A value is an integer
// times a power of ten in a base unit without zeros at the end of its mantissa:
// equal values have equal bytes, however they were typed.
const (
	normRow   = 'n'
	normSet   = 's'
	normValue = 'v'
	normOut   = 'x'
)

// leftOut are the reasons for which a reading is left out, in the order in which
// an answer tells them.
var leftOut = []struct {
	why  byte
	what string
}{
	{normUnsaid, "readings of which nobody said whether they are as found or as left"},
	{normWords, "readings as left that are no number"},
	{normChecks, "checks, which are yes or no"},
	{normDial, "dial readings, which hang on the station that was tuned in"},
	{normOther, "readings as left in a unit of another family than their kind is shown in"},
	{normAgain, "readings as left that another one followed in the same visit"},
	{normUnrepaired, "readings as left of sets that left unrepaired"},
}

const (
	normUnsaid     = 's'
	normWords      = 'w'
	normChecks     = 'c'
	normDial       = 'd'
	normOther      = 'u'
	normAgain      = 'a'
	normUnrepaired = 'r'
)

// unrepaired are the outcomes after which a set is as it came, or in pieces.
var unrepaired = []string{"returned-unrepaired", "declined", "kept-for-parts"}

// dials are the kinds of measurement whose readings say where a station was found.
var dials = []string{"dial-am", "dial-fm"}

// pointKey is a test point as it is compared: small letters and single spaces.
// Signs count, unlike in a model's name: "+15 V" and "-15 V" are two points.
func pointKey(point string) string {
	if isPointKey(point) {
		return point
	}
	return pointKeyOf(point)
}

func pointKeyOf(point string) string {
	return strings.ToLower(strings.Join(strings.Fields(point), " "))
}

// isPointKey reports whether a name is as it is compared already, as most are.
func isPointKey(point string) bool {
	space := true // at the beginning there is none
	for i := range len(point) {
		c := point[i]
		if c >= 0x80 || c >= 'A' && c <= 'Z' || c < ' ' || c == ' ' && space {
			return false
		}
		space = c == ' '
	}
	return !space || point == ""
}

// normPrefix is what the rows of one model and point begin with.
func normPrefix(maker, model, point string) rowKey {
	return rowKey{normRow}.text(events.Key(maker)).text(events.Key(model)).text(pointKey(point))
}

// measured is what a set reads at a point by one kind of measurement in one unit:
// what its rows have behind maker and model, and how the point was last spelled.
type measured struct{ point, kind, unit, spelled string }

func (m measured) under(k rowKey) rowKey { return k.text(m.point).text(m.kind).text(m.unit) }

func normRows(h *History, to *rowList) {
	var all []measured // of the set, each once, in the order they came
	var named rowKey   // how the set's rows begin
	for _, v := range h.Visits {
		last, out := v.asLeft()
		for _, b := range last {
			unit, value, why := normOf(b.ReadingTaken)
			if why != 0 {
				out = append(out, why)
				continue
			}
			if named == nil {
				named = rowKey{normRow}.text(events.Key(h.Maker)).text(events.Key(h.Model))
			}
			at := measured{b.key, b.Measure, string(unit), b.Point}
			same := func(m measured) bool { return m.point == at.point && m.kind == at.kind && m.unit == at.unit }
			if i := slices.IndexFunc(all, same); i >= 0 {
				all[i] = at
			} else {
				all = append(all, at)
			}
			to.add(at.under(append(to.key(), named...)).byte(normValue).exact(value))
		}
		for _, why := range out {
			to.add(to.key(normOut, why))
		}
	}
	for _, m := range all {
		to.add(m.under(append(to.key(), named...)).byte(normSet).text(h.Maker).text(h.Model).text(m.spelled))
	}
}

// leftReading is a reading with the name of its point as it is compared.
type leftReading struct {
	events.ReadingTaken
	key string
}

// normHeadOf has all that was read at one point of one model in a block.
func normHeadOf(row []byte) int {
	if row[0] == normOut {
		return 1
	}
	return afterTexts(row, 1, 5)
}

// asLeft are the last readings as left of a visit, one a point and kind, and why
// others do not count.
func (v Visit) asLeft() (last []leftReading, out []byte) {
	asItCame := slices.Contains(unrepaired, v.outcome())
	for _, reading := range bodies[events.ReadingTaken](v.Entries) {
		b := leftReading{reading, ""}
		if b.Stage == events.AsLeft && !asItCame {
			b.key = pointKey(b.Point)
		}
		switch i := slices.IndexFunc(last, func(o leftReading) bool { return o.Measure == b.Measure && o.key == b.key }); {
		case b.Stage == "":
			out = append(out, normUnsaid)
		case b.Stage != events.AsLeft:
		case asItCame:
			out = append(out, normUnrepaired)
		case i >= 0:
			last[i], out = b, append(out, normAgain)
		default:
			last = append(last, b)
		}
	}
	return last, out
}

// normOf is the unit in which a reading counts and its value, or why it does not. A
// kind that is not in the table here has no unit it is shown in: its readings count
// by the unit they are in.
func normOf(b events.ReadingTaken) (unit measure.Unit, value measure.Value, why byte) {
	value = measure.Value{Mant: b.Value.Mant, Exp: b.Value.Exp, Unit: measure.Unit(b.Value.Unit)}.Normal()
	kind, known := measure.Find(b.Measure)
	switch {
	case value.Unit == "":
		return "", value, normWords
	case value.Unit == measure.YesOrNo:
		return "", value, normChecks
	case slices.Contains(dials, b.Measure):
		return "", value, normDial
	case known && kind.Base() != value.Unit:
		return "", value, normOther
	}
	return value.Unit, value, 0
}

// exact puts a value's integer and its power of ten into a row.
func (k rowKey) exact(v measure.Value) rowKey {
	return append(binary.BigEndian.AppendUint64(k, uint64(v.Mant)), byte(v.Exp))
}

// exact takes a value off again, without its unit.
func (r *rowReader) exact() (v measure.Value) {
	if r.bad || len(r.b) < 9 {
		r.bad = true
		return v
	}
	v = measure.Value{Mant: int64(binary.BigEndian.Uint64(r.b)), Exp: int8(r.b[8])}
	r.b = r.b[9:]
	return v
}

// kind takes the byte off that says what follows.
func (r *rowReader) kind() byte {
	if r.bad || len(r.b) == 0 {
		r.bad = true
		return 0
	}
	c := r.b[0]
	r.b = r.b[1:]
	return c
}
