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

// Counted values give what the same values give one by one, to the last bit, and
// what R gives for the table's.
func TestQuantilesOfCountedValuesAreThoseOfTheValuesOneByOne(t *testing.T) {
	counted := func(values []float64) (rising []stats.ValueCount) {
		for _, v := range slices.Sorted(slices.Values(values)) {
			if n := len(rising); n > 0 && rising[n-1].Value == v {
				rising[n-1].N++
				continue
			}
			rising = append(rising, stats.ValueCount{Value: v, N: 1})
		}
		return rising
	}
	for _, row := range rows(t, "quantiles") {
		var values []float64
		for _, cell := range strings.Fields(row["sample"]) {
			values = append(values, number(t, cell))
		}
		got := must[float64](t)(stats.QuantileCounted(counted(values), number(t, row["p"]), stats.Kind(whole(t, row["type"]))))
		printed(t, row["sample"]+" type "+row["type"]+" at "+row["p"], got, row["value"])
	}
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.SliceOfN(rapid.SampledFrom([]float64{-3, -0.5, 0, 12, 12.25, 88, 95e6}), 1, 40).Draw(rt, "values")
		kind := rapid.SampledFrom([]stats.Kind{stats.Type7, stats.Type8}).Draw(rt, "kind")
		p := rapid.Float64Range(0, 1).Draw(rt, "p")
		one, err := stats.Quantile(values, p, kind)
		many, err2 := stats.QuantileCounted(counted(values), p, kind)
		if err != nil || err2 != nil || one != many {
			rt.Fatalf("%v of %v: %v one by one (%v), %v counted (%v)", p, values, one, err, many, err2)
		}
	})
}

func TestCountedValuesThatCannotBeAreRefused(t *testing.T) {
	if _, err := stats.QuantileCounted(nil, 0.5, stats.Type8); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("of nothing: %v", err)
	}
	for _, values := range [][]stats.ValueCount{{{Value: 2, N: 1}, {Value: 1, N: 1}}, {{Value: 1, N: 0}}, {{Value: math.NaN(), N: 1}}, {{Value: math.Inf(1), N: 2}}} {
		if q, err := stats.QuantileCounted(values, 0.5, stats.Type8); err == nil {
			t.Errorf("%v gave %v", values, q)
		}
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if _, err := stats.QuantileCounted([]stats.ValueCount{{Value: 1, N: 3}}, p, stats.Type8); err == nil {
			t.Errorf("quantile %v was given", p)
		}
	}
	if _, err := stats.QuantileCounted([]stats.ValueCount{{Value: 1, N: 3}}, 0.5, 6); err == nil {
		t.Error("a quantile of type 6 was given")
	}
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
