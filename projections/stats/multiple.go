package stats

import (
	"cmp"
	"fmt"
	"slices"
)

// BenjaminiHochberg adjusts the p-values of many tests made at once. Calling
// those at or below 0.05 a finding keeps the expected share of false ones among
// the findings at 5 %. The adjusted values stand in the order of those given.
func BenjaminiHochberg(ps []float64) ([]float64, error) {
	return BenjaminiHochbergAmong(ps, nil, len(ps))
}

// BenjaminiHochbergAmong is BenjaminiHochberg where more tests were made than
// have a p-value given: of all of them, the others came to 1. Times says how many
// tests came to each value; nil is one each.
func BenjaminiHochbergAmong(ps []float64, times []int, all int) ([]float64, error) {
	if times == nil {
		times = slices.Repeat([]int{1}, len(ps))
	}
	given, err := testsGiven(ps, times)
	if err == nil && all < given {
		err = fmt.Errorf("%d p-values of %d tests", given, all)
	}
	if err != nil {
		return nil, fmt.Errorf("adjust by Benjamini and Hochberg: %w", err)
	}
	largestFirst := make([]int, len(ps))
	for i := range ps {
		largestFirst[i] = i
	}
	slices.SortFunc(largestFirst, func(a, b int) int { return cmp.Compare(ps[b], ps[a]) })
	adjusted, least := make([]float64, len(ps)), 1.0
	rank := given
	for _, i := range largestFirst {
		least = min(least, ps[i]*float64(all)/float64(rank))
		adjusted[i] = least
		rank -= times[i]
	}
	return adjusted, nil
}

// testsGiven is how many tests have a p-value.
func testsGiven(ps []float64, times []int) (given int, err error) {
	if len(times) != len(ps) {
		return 0, fmt.Errorf("%d p-values, and how often for %d", len(ps), len(times))
	}
	for i, n := range times {
		if n < 1 {
			return 0, fmt.Errorf("p-value %d stands for %d tests", i+1, n)
		}
		given += n
	}
	return given, checkPs(ps)
}

// Bonferroni adjusts the p-values of many tests made at once. Calling those at
// or below 0.05 a finding keeps the chance of even one false one at 5 %.
func Bonferroni(ps []float64) ([]float64, error) {
	if err := checkPs(ps); err != nil {
		return nil, fmt.Errorf("adjust by Bonferroni: %w", err)
	}
	adjusted := make([]float64, len(ps))
	for i, p := range ps {
		adjusted[i] = min(1, p*float64(len(ps)))
	}
	return adjusted, nil
}

func checkPs(ps []float64) error {
	for i, p := range ps {
		if !(p >= 0 && p <= 1) {
			return fmt.Errorf("p-value %d is %v: must be from 0 to 1", i+1, p)
		}
	}
	return nil
}
