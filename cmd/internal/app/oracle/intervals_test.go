package oracle_test

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// wilson is shared facts, section 3.
func wilson(x, n int) (low, high float64) {
	q, m := float64(x)/float64(n), float64(n)
	centre := (q + z*z/(2*m)) / (1 + z*z/m)
	half := z * math.Sqrt(q*(1-q)/m+z*z/(4*m*m)) / (1 + z*z/m)
	return centre - half, centre + half
}

// rate is events a year with the limits of Garwood: chi-square quantiles.
func rate(count int, years float64) (perYear, low, high float64) {
	if count > 0 {
		low = distuv.ChiSquared{K: 2 * float64(count)}.Quantile(0.025) / 2
	}
	high = distuv.ChiSquared{K: 2*float64(count) + 2}.Quantile(0.975) / 2
	return float64(count) / years, low / years, high / years
}

// fisher is the two-sided exact test of x of n against y of m: all tables with
// the same margins that are no more likely, with a slack of 1e-7.
func fisher(x, n, y, m int) (p float64) {
	seen := tableChance(x, n, x+y, n+m)
	for k := max(0, x+y-m); k <= min(n, x+y); k++ {
		if c := tableChance(k, n, x+y, n+m); c <= seen*(1+1e-7) {
			p += c
		}
	}
	return min(p, 1)
}

// tableChance is the chance that k of n are among the hits of all.
func tableChance(k, n, hits, all int) float64 {
	return math.Exp(choose(hits, k) + choose(all-hits, n-k) - choose(all, n))
}

// choose is the logarithm of the number of ways.
func choose(n, k int) float64 {
	of := func(n int) float64 { l, _ := math.Lgamma(float64(n) + 1); return l }
	return of(n) - of(k) - of(n-k)
}

// stepUp adjusts p values as Benjamini and Hochberg do.
func stepUp(ps []float64) []float64 {
	order := make([]int, len(ps))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(ps[b], ps[a]) })
	adjusted, least := make([]float64, len(ps)), 1.0
	for i, at := range order {
		least = min(least, ps[at]*float64(len(ps))/float64(len(ps)-i))
		adjusted[at] = least
	}
	return adjusted
}

// poissonTail is the chance of n or more where a mean is expected.
func poissonTail(n int, mean float64) float64 {
	return 1 - distuv.Poisson{Lambda: mean}.CDF(float64(n-1))
}
