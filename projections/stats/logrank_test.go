package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// Source: R survdiff, facts.md 1.
func TestLogRankMeetsThePublishedComparisons(t *testing.T) {
	for _, c := range []struct {
		a, b string
		chi2 float64
	}{
		{"leukemia_6mp", "leukemia_placebo", 16.79294},
		{"aml_maintained", "aml_nonmaintained", 3.396389},
		{"ovarian_rx1", "ovarian_rx2", 1.062740},
	} {
		a, b := stats.CountCases(dataset(t, c.a)), stats.CountCases(dataset(t, c.b))
		r := must[stats.LogRankResult](t)(stats.LogRank(a, b))
		near(t, c.a, r.Chi2, c.chi2)
		if r.DF != 1 {
			t.Errorf("%s: %d degrees of freedom, want 1", c.a, r.DF)
		}
		near(t, "events expected in all", r.Expected[0]+r.Expected[1], float64(r.Observed[0]+r.Observed[1]))
	}
}

// From the definition: on one degree of freedom chi-square is a normal value
// squared, so its p is that of both tails.
func TestLogRankGivesTheChanceOfBothTails(t *testing.T) {
	a, b := stats.CountCases(dataset(t, "aml_maintained")), stats.CountCases(dataset(t, "aml_nonmaintained"))
	r := must[stats.LogRankResult](t)(stats.LogRank(a, b))
	near(t, "p", r.P, math.Erfc(math.Sqrt(3.396389/2)))
}

func TestLogRankOfThreeGroupsDoesNotDependOnTheirOrder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a, b, c := drawCounts(rt, "a"), drawCounts(rt, "b"), drawCounts(rt, "c")
		one, err1 := stats.LogRank(a, b, c)
		two, err2 := stats.LogRank(c, a, b)
		if (err1 == nil) != (err2 == nil) {
			rt.Fatalf("%v in one order, %v in another", err1, err2)
		}
		if err1 != nil {
			rt.Skip("nothing to compare")
		}
		if d := one.Chi2 - two.Chi2; d > 1e-6*(1+one.Chi2) || d < -1e-6*(1+one.Chi2) || one.DF != two.DF {
			rt.Fatalf("%v on %d in one order, %v on %d in another", one.Chi2, one.DF, two.Chi2, two.DF)
		}
	})
}

func TestLogRankRefusesGroupsNeverWatchedTogether(t *testing.T) {
	early := []stats.DayCount{{Day: 1, Censored: 3}}
	late := []stats.DayCount{{Day: 5, Events: 3}}
	for what, groups := range map[string][][]stats.DayCount{
		"no group": {}, "one group": {late}, "one ended before": {early, late},
		"only one has a case": {late, nil},
	} {
		if r, err := stats.LogRank(groups...); !errors.Is(err, stats.ErrNothingCompared) {
			t.Errorf("%s: %+v, %v", what, r, err)
		}
	}
}

// From the definition of the two tests: where all events fall on one day, the
// log-rank chi-square of k groups is (n-1)/n of Pearson's of the k by 2 table.
func TestLogRankOfOneDayIsChiSquare(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var groups [][]stats.DayCount
		var table [][]int
		n := 0
		for i := range rapid.IntRange(2, 5).Draw(rt, "groups") {
			events := rapid.IntRange(0, 20).Draw(rt, fmt.Sprint("events ", i))
			rest := rapid.IntRange(0, 20).Draw(rt, fmt.Sprint("rest ", i))
			groups = append(groups, []stats.DayCount{{Day: 3, Events: events}, {Day: 8, Censored: rest}})
			table = append(table, []int{events, rest})
			n += events + rest
		}
		want, err := stats.ChiSquareTest(table)
		if err != nil {
			rt.Skip("an empty group")
		}
		got, err := stats.LogRank(groups...)
		if err != nil {
			rt.Fatal(err)
		}
		within(rt, "chi-square", got.Chi2, want.X2*float64(n-1)/float64(n), 1e-9*(1+want.X2))
		if got.DF != want.DF {
			rt.Fatalf("%d degrees of freedom, want %d", got.DF, want.DF)
		}
	})
}

func BenchmarkLogRankOfThreeGroups(b *testing.B) {
	counts := manyDays()
	for b.Loop() {
		if _, err := stats.LogRank(counts, counts, counts); err != nil {
			b.Fatal(err)
		}
	}
}
