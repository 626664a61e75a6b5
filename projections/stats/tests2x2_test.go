package stats_test

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// Source: Fisher (1935), by facts.md 3.
func TestTheExactTestOfTheTeaTasting(t *testing.T) {
	f := must[stats.Fisher](t)(stats.FisherExact(stats.Table{{3, 1}, {1, 3}}))
	near(t, "one side", f.Greater, 0.2428571)
	near(t, "two sides", f.TwoSided, 0.4857143)
}

// Source: R's documentation of fisher.test, by facts.md 3.
func TestTheExactTestOfTheTwins(t *testing.T) {
	f := must[stats.Fisher](t)(stats.FisherExact(stats.Table{{2, 15}, {10, 3}}))
	near(t, "two sides", f.TwoSided, 0.0005367241)
	near(t, "one side", f.Less, 0.0004651809)
	odds, ok := f.OddsRatio()
	near(t, "odds ratio", odds, 0.04693661)
	if !ok {
		t.Error("odds ratio: want one")
	}
}

// Source: Agresti, by R's documentation of chisq.test (facts.md 3).
func TestTheChiSquareTestOfPartyBySex(t *testing.T) {
	c := must[stats.ChiSquare](t)(stats.ChiSquareTest([][]int{{762, 327, 468}, {484, 239, 477}}))
	near(t, "X2", c.X2, 30.07015)
	near(t, "p", c.P, 2.953589e-07)
	if c.DF != 2 || c.Doubtful() {
		t.Errorf("%d degrees of freedom, doubtful: %v; want 2, false", c.DF, c.Doubtful())
	}
}

// Source: R, by facts.md 3.
func TestASmallTableByAllThreeTests(t *testing.T) {
	table := stats.Table{{8, 2}, {1, 9}}
	c := must[stats.ChiSquare](t)(stats.ChiSquareTest([][]int{table[0][:], table[1][:]}))
	near(t, "X2", c.X2, 9.898990)
	near(t, "p", c.P, 0.001653695)
	y := must[stats.ChiSquare](t)(stats.YatesTest(table))
	near(t, "Yates X2", y.X2, 7.272727)
	near(t, "Yates p", y.P, 0.007000942)
	f := must[stats.Fisher](t)(stats.FisherExact(table))
	near(t, "exact p", f.TwoSided, 0.005477495)
	near(t, "smallest expected", c.Smallest, 4.5) // by hand: 10 of 20, 9 of 20
	if !c.Doubtful() || !y.Doubtful() {
		t.Error("an expected count of 4.5 raises no doubt")
	}
}

// By hand: at exactly what is expected the correction must not make a
// difference out of none.
func TestTheCorrectionNeverGoesPastTheDifference(t *testing.T) {
	y := must[stats.ChiSquare](t)(stats.YatesTest(stats.Table{{10, 10}, {10, 10}}))
	if y.X2 != 0 || y.P != 1 {
		t.Errorf("X2 %v, p %v; want 0, 1", y.X2, y.P)
	}
}

// By hand: with sums of 2 and 2 both ways, first cells of 0, 1, 2 have chances
// 1/6, 4/6, 1/6, and the ends have no finite odds ratio but 0.
func TestTheExactTestAtTheEnds(t *testing.T) {
	low := must[stats.Fisher](t)(stats.FisherExact(stats.Table{{0, 2}, {2, 0}}))
	near(t, "less", low.Less, 1.0/6)
	near(t, "two sides", low.TwoSided, 2.0/6)
	if odds, ok := low.OddsRatio(); odds != 0 || !ok {
		t.Errorf("odds ratio %v (%v), want 0", odds, ok)
	}
	high := must[stats.Fisher](t)(stats.FisherExact(stats.Table{{2, 0}, {0, 2}}))
	near(t, "greater", high.Greater, 1.0/6)
	if odds, ok := high.OddsRatio(); ok {
		t.Errorf("odds ratio %v, want none", odds)
	}
	only := must[stats.Fisher](t)(stats.FisherExact(stats.Table{{3, 4}, {0, 0}}))
	if _, ok := only.OddsRatio(); ok || only.TwoSided != 1 {
		t.Errorf("one table possible: p %v, odds ratio %v; want 1, none", only.TwoSided, ok)
	}
}

func TestTablesThatCannotBeAreRefused(t *testing.T) {
	if _, err := stats.FisherExact(stats.Table{{1, -1}, {1, 1}}); err == nil {
		t.Error("a count below zero was taken")
	}
	if _, err := stats.FisherExact(stats.Table{}); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("empty table: %v", err)
	}
	if _, err := stats.YatesTest(stats.Table{{0, 3}, {0, 4}}); !errors.Is(err, stats.ErrEmptyLine) {
		t.Errorf("empty column: %v", err)
	}
	for what, table := range map[string][][]int{
		"nothing": nil, "one row": {{1, 2}}, "one column": {{1}, {2}}, "ragged": {{1, 2}, {3}}, "below zero": {{1, 2}, {3, -4}},
	} {
		if _, err := stats.ChiSquareTest(table); err == nil {
			t.Errorf("%s was taken", what)
		}
	}
}

var anyTable = rapid.Custom(func(t *rapid.T) stats.Table {
	cell := rapid.IntRange(0, 60)
	return stats.Table{{cell.Draw(t, "a"), cell.Draw(t, "b")}, {cell.Draw(t, "c"), cell.Draw(t, "d")}}
})

// The chance of the observed table, by binomial coefficients, is what the two
// sides have in common; and the odds ratio is that at which the observed first
// cell is the mean, checked from the definition.
func TestExactChancesAddUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		table := anyTable.Draw(rt, "table")
		f, err := stats.FisherExact(table)
		if err != nil {
			rt.Skip("empty")
		}
		row, other, column := table[0][0]+table[0][1], table[1][0]+table[1][1], table[0][0]+table[1][0]
		chance := func(k int) float64 {
			return math.Exp(lnChoose(row, k) + lnChoose(other, column-k) - lnChoose(row+other, column))
		}
		within(rt, "both sides", f.Less+f.Greater, 1+chance(table[0][0]), 1e-9)
		turned, err := stats.FisherExact(stats.Table{table[1], table[0]})
		if err != nil {
			rt.Fatal(err)
		}
		within(rt, "rows swapped", turned.Less, f.Greater, 1e-9)
		within(rt, "rows swapped, two sides", turned.TwoSided, f.TwoSided, 1e-9)
		if f.TwoSided > 1 || f.TwoSided < min(f.Less, f.Greater)-1e-12 {
			rt.Fatalf("%+v", f)
		}
		if odds, ok := f.OddsRatio(); ok && odds > 0 {
			sum, mean := 0.0, 0.0
			for k := max(0, column-other); k <= min(row, column); k++ {
				p := chance(k) * math.Pow(odds, float64(k-table[0][0]))
				sum += p
				mean += p * float64(k)
			}
			within(rt, "mean at the odds ratio", mean/sum, float64(table[0][0]), 1e-6)
		}
	})
}

func BenchmarkFisherExactOfThousands(b *testing.B) {
	for b.Loop() {
		if _, err := stats.FisherExact(stats.Table{{900, 2100}, {700, 2300}}); err != nil {
			b.Fatal(err)
		}
	}
}
