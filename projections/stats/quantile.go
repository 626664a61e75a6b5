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
	return min(sorted[i]+part*(sorted[i+1]-sorted[i]), sorted[i+1]) // rounding may go past it
}
