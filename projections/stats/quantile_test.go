package stats_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// Source: quantiles.csv, R's quantile; two of the samples are in facts.md 4 too.
func TestQuantilesMeetTheTable(t *testing.T) {
	for _, row := range rows(t, "quantiles") {
		var values []float64
		for _, cell := range strings.Fields(row["sample"]) {
			values = append(values, number(t, cell))
		}
		slices.Reverse(values) // in any order
		before := slices.Clone(values)
		got := must[float64](t)(stats.Quantile(values, number(t, row["p"]), stats.Kind(whole(t, row["type"]))))
		printed(t, row["sample"]+" type "+row["type"]+" at "+row["p"], got, row["value"])
		if !slices.Equal(values, before) {
			t.Fatal("the caller's values were put in order")
		}
	}
}

func TestAQuantileLiesAmongTheValuesAndRisesWithP(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 30).Draw(rt, "values")
		kind := rapid.SampledFrom([]stats.Kind{stats.Type7, stats.Type8}).Draw(rt, "kind")
		before := slices.Min(values)
		for _, p := range []float64{0, 0.1, 0.25, 1.0 / 3, 0.5, 0.9, 1} {
			q, err := stats.Quantile(values, p, kind)
			if err != nil {
				rt.Fatal(err)
			}
			if q < before || q > slices.Max(values) {
				rt.Fatalf("quantile %v is %v, the one before %v, the largest value %v", p, q, before, slices.Max(values))
			}
			before = q
		}
	})
}

func TestQuantilesThatCannotBeAreRefused(t *testing.T) {
	if _, err := stats.Quantile(nil, 0.5, stats.Type7); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("of nothing: %v", err)
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if _, err := stats.Quantile([]float64{1}, p, stats.Type7); err == nil {
			t.Errorf("quantile %v was given", p)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(-1)} {
		if _, err := stats.Quantile([]float64{1, v}, 0.5, stats.Type7); err == nil {
			t.Errorf("a value of %v was taken", v)
		}
	}
	if _, err := stats.Quantile([]float64{1}, 0.5, 6); err == nil {
		t.Error("a quantile of type 6 was given")
	}
}
