package stats_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// Source: Benjamini and Hochberg (1995), their fifteen p-values; the adjusted
// ones by facts.md 3.
var fifteen = []float64{.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1}

func TestTheFifteenPublishedPValues(t *testing.T) {
	bh := must[[]float64](t)(stats.BenjaminiHochberg(fifteen))
	want := []float64{.0015, .003, .0095, .035625, .0603, .06385714, .06385714, .0645, .0765, .486,
		.5811818, .714875, .7532308, .8132143, 1}
	for i := range want {
		near(t, fmt.Sprint("adjusted ", i+1), bh[i], want[i])
	}
	bonferroni := must[[]float64](t)(stats.Bonferroni(fifteen))
	if a, b := found(bh), found(bonferroni); a != 4 || b != 3 {
		t.Errorf("at 0.05: %d and %d found, want 4 by Benjamini and Hochberg and 3 by Bonferroni", a, b)
	}
	near(t, "the third by Bonferroni", bonferroni[2], 15*.0019)
	near(t, "the last by Bonferroni", bonferroni[14], 1)
}

func found(adjusted []float64) (n int) {
	for _, p := range adjusted {
		if p <= 0.05 {
			n++
		}
	}
	return n
}

func TestValuesThatAreNoChancesAreRefused(t *testing.T) {
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if _, err := stats.BenjaminiHochberg([]float64{0.5, p}); err == nil {
			t.Errorf("Benjamini and Hochberg took %v", p)
		}
		if _, err := stats.Bonferroni([]float64{0.5, p}); err == nil {
			t.Errorf("Bonferroni took %v", p)
		}
	}
}

// From the definitions: adjusting keeps the order, never makes a value smaller,
// and is never stricter than Bonferroni. The step-up rule, looking for the
// largest k with p(k) <= k/m alpha, is the model beside it.
func TestAdjustedValuesKeepTheirOrderAndTheStepUpRule(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		ps := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 20).Draw(rt, "ps")
		alpha := rapid.Float64Range(0.01, 0.5).Draw(rt, "alpha")
		bh, err := stats.BenjaminiHochberg(ps)
		if err != nil {
			rt.Fatal(err)
		}
		strict, err := stats.Bonferroni(ps)
		if err != nil {
			rt.Fatal(err)
		}
		for i := range ps {
			if bh[i] < ps[i]-1e-15 || bh[i] > strict[i]+1e-15 {
				rt.Fatalf("p %v became %v, by Bonferroni %v", ps[i], bh[i], strict[i])
			}
			for j := range ps {
				if ps[i] < ps[j] && bh[i] > bh[j] {
					rt.Fatalf("%v and %v changed their order to %v and %v", ps[i], ps[j], bh[i], bh[j])
				}
			}
			near := math.Abs(bh[i]-alpha) < 1e-12
			if !near && (bh[i] <= alpha) != (ps[i] <= stepUp(ps, alpha)) {
				rt.Fatalf("p %v: adjusted %v at %v, the rule takes up to %v", ps[i], bh[i], alpha, stepUp(ps, alpha))
			}
		}
	})
}

// stepUp is the largest p that has at least p m / alpha values at or below it;
// below zero if there is none.
func stepUp(ps []float64, alpha float64) float64 {
	most := -1.0
	for _, p := range ps {
		k := 0
		for _, q := range ps {
			if q <= p {
				k++
			}
		}
		if p <= float64(k)/float64(len(ps))*alpha {
			most = max(most, p)
		}
	}
	return most
}

// Tests that came to one value are as many values, each given once.
func TestValuesThatCameSeveralTimesAreAdjustedAsIfEachWereGiven(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		ps := rapid.SliceOfN(rapid.Float64Range(0, 0.2), 1, 8).Draw(rt, "ps")
		times := rapid.SliceOfN(rapid.IntRange(1, 5), len(ps), len(ps)).Draw(rt, "times")
		others := rapid.IntRange(0, 30).Draw(rt, "others")
		var each []float64
		for i, p := range ps {
			for range times[i] {
				each = append(each, p)
			}
		}
		got := must[[]float64](t)(stats.BenjaminiHochbergAmong(ps, times, len(each)+others))
		want := must[[]float64](t)(stats.BenjaminiHochbergAmong(each, nil, len(each)+others))
		for i, at := 0, 0; i < len(ps); at, i = at+times[i], i+1 {
			near(t, fmt.Sprint("adjusted ", i+1), got[i], want[at])
		}
	})
	for _, times := range [][]int{{1}, {1, 0}} {
		if _, err := stats.BenjaminiHochbergAmong([]float64{0.1, 0.2}, times, 9); err == nil {
			t.Errorf("two values came %v times", times)
		}
	}
}
