package projections

import (
	"fmt"
	"strconv"

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

func setsText(n int) string { return choose(n == 1, "1 set", fmt.Sprintf("%d sets", n)) }
