package projections

import (
	"slices"
	"strconv"

	"oldhand/events"
	"oldhand/events/measure"
)

// How a norm is told: as many decimals as its kind of measurement is shown with,
// and one more, twice at most, where the ends of the interval would not be three
// of the last decimal apart.

// decimals is how many a row's values are shown with.
func (r NormRow) decimals() int {
	kind, known := measure.Find(r.Measure)
	n := choose(known, kind.Decimals, 3)
	wide := r.Most - r.Least
	if r.Low != nil {
		wide = *r.High - *r.Low
	}
	for range 2 {
		if step := 1 / float64(tenTo(n)); wide > 0 && wide < 3*step {
			n++
		}
	}
	return n
}

func tenTo(n int) (power int) {
	power = 1
	for range n {
		power *= 10
	}
	return power
}

// Shown are the ends of the usual interval and the middle as they are told; of a
// row without one, the range.
func (r NormRow) Shown() (low, middle, high string) {
	from, to := r.Least, r.Most
	if r.Low != nil {
		from, to = *r.Low, *r.High
	}
	n := r.decimals()
	return decimalText(from, n), decimalText(r.Middle, n), decimalText(to, n)
}

// decimalText has no minus before nothing.
func decimalText(v float64, decimals int) string {
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if f, err := strconv.ParseFloat(text, 64); err == nil && f == 0 {
		return strconv.FormatFloat(0, 'f', decimals, 64)
	}
	return text
}

func withUnit(number, unit string) string {
	if unit == "" {
		return number
	}
	return number + " " + unit
}

// IsSafety says that a row is of what a set lets through to whoever touches it.
// Beside it stands that what is usual is no limit.
func (r NormRow) IsSafety() bool {
	return slices.Contains([]string{"hot-check-voltage", "touch-current", "insulation-resistance"}, r.Measure)
}

func setsText(n int) string { return events.Count(n, "set") }

// Side is where a reading lies to the usual interval: -1 below, 0 within, 1 above.
// It is held against the ends as they are told, so that 88 mV is within "62 to 88
// mV". False where there is no interval, or the reading can't be put beside it.
func (r NormRow) Side(b events.ReadingTaken) (side int, ok bool) {
	v := measure.Value{Mant: b.Value.Mant, Exp: b.Value.Exp, Unit: measure.Unit(b.Value.Unit)}
	kind, known := measure.Find(r.Measure)
	number := v.Float()
	switch {
	case r.Low == nil || b.Measure != r.Measure || v.Unit == "":
		return 0, false
	case known && v.Unit == kind.Base():
		number = kind.InFirst(v)
	case known || string(v.Unit) != r.In:
		return 0, false
	}
	low, _, high := r.Shown()
	from, err := strconv.ParseFloat(low, 64)
	to, err2 := strconv.ParseFloat(high, 64)
	switch {
	case err != nil || err2 != nil:
		return 0, false
	case number < from:
		return -1, true
	case number > to:
		return 1, true
	}
	return 0, true
}
