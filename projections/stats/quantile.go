package stats

import (
	"fmt"
	"math"
	"slices"
)

// Kind is how a quantile that falls between two values is read, by its number
// with Hyndman and Fan (1996).
type Kind int

const (
	Type7 Kind = 7 // what spreadsheets do
	Type8 Kind = 8 // what Hyndman and Fan recommend
)

// Quantile gives the value below which a share p of the values lies. The values
// may be in any order and are all known: for times of which some are still
// running, use KaplanMeier.
func Quantile(values []float64, p float64, kind Kind) (float64, error) {
	if len(values) == 0 {
		return 0, fmt.Errorf("quantile %v: %w", p, ErrNoCases)
	}
	if !(p >= 0 && p <= 1) {
		return 0, fmt.Errorf("quantile %v: must be from 0 to 1", p)
	}
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, fmt.Errorf("quantile %v: value %d is %v", p, i+1, v)
		}
	}
	place, err := kind.place(p, float64(len(values)))
	if err != nil {
		return 0, err
	}
	return between(slices.Sorted(slices.Values(values)), place), nil
}

// ValueCount is a value and how often it occurs.
type ValueCount struct {
	Value float64
	N     int
}

// QuantileCounted is Quantile of values that are counted and stand in rising
// order: what many readings of few values cost is what the values cost.
func QuantileCounted(rising []ValueCount, p float64, kind Kind) (float64, error) {
	n := 0
	for i, v := range rising {
		switch {
		case math.IsNaN(v.Value) || math.IsInf(v.Value, 0) || v.N < 1:
			return 0, fmt.Errorf("quantile %v: value %d is %v, %d times", p, i+1, v.Value, v.N)
		case i > 0 && v.Value < rising[i-1].Value:
			return 0, fmt.Errorf("quantile %v: %v comes after %v", p, v.Value, rising[i-1].Value)
		}
		n += v.N
	}
	if n == 0 {
		return 0, fmt.Errorf("quantile %v: %w", p, ErrNoCases)
	}
	if !(p >= 0 && p <= 1) {
		return 0, fmt.Errorf("quantile %v: must be from 0 to 1", p)
	}
	place, err := kind.place(p, float64(n))
	if err != nil {
		return 0, err
	}
	whole, part := math.Modf(place)
	low := nth(rising, int(whole))
	return toward(low, nth(rising, min(int(whole)+1, n)), part), nil
}

// nth is the n-th value, the first being at 1.
func nth(rising []ValueCount, n int) float64 {
	for _, v := range rising {
		if n -= v.N; n <= 0 {
			return v.Value
		}
	}
	return math.NaN() // n is never more than there are
}

// place is where the quantile lies among n values, the first being at 1.
func (k Kind) place(p, n float64) (float64, error) {
	switch k {
	case Type7:
		return (n-1)*p + 1, nil
	case Type8:
		return min(max((n+1.0/3)*p+1.0/3, 1), n), nil
	}
	return 0, fmt.Errorf("quantile of type %d: known are %d and %d", k, Type7, Type8)
}

func between(sorted []float64, place float64) float64 {
	whole, part := math.Modf(place)
	i := int(whole) - 1
	if part == 0 {
		return sorted[i]
	}
	return toward(sorted[i], sorted[i+1], part)
}

// toward goes a part of the way from a value to the next.
func toward(low, high, part float64) float64 {
	return min(low+part*(high-low), high) // rounding may go past it
}
