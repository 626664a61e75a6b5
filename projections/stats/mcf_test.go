package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// engines reads the valve-seat data: status 1 is a replacement, 0 the end of an
// engine's history.
func engines(t testing.TB) []stats.Watched {
	t.Helper()
	place := map[string]int{}
	var sets []stats.Watched
	for _, row := range rows(t, "mcf_valve_seat_data") {
		i, seen := place[row["id"]]
		if !seen {
			i = len(sets)
			place[row["id"]] = i
			sets = append(sets, stats.Watched{})
		}
		if row["status"] == "1" {
			sets[i].Repairs = append(sets[i].Repairs, whole(t, row["time"]))
		} else {
			sets[i].End = whole(t, row["time"])
		}
	}
	return sets
}

// Source: mcf_valve_seat_expected.csv, Nelson's data (1995) by the formula in R,
// equal to survfit with id to 5e-9.
func TestTheMeanCurveOfTheValveSeatsIsMet(t *testing.T) {
	steps := must[stats.MeanCurve](t)(stats.MeanCumulative(engines(t))).Steps()
	want := rows(t, "mcf_valve_seat_expected")
	if len(steps) != len(want) {
		t.Fatalf("%d ages with a repair, want %d", len(steps), len(want))
	}
	for i, row := range want {
		s, what := steps[i], "age "+row["age"]
		got := [3]int{s.Age, s.AtRisk, s.Repairs}
		if w := [3]int{whole(t, row["age"]), whole(t, row["at_risk"]), whole(t, row["events"])}; got != w {
			t.Errorf("%s: age, at risk, repairs %v, want %v", what, got, w)
		}
		printed(t, what+": mean", s.Mean, row["mcf"])
		printed(t, what+": robust SE", s.RobustSE, row["se_robust"])
		printed(t, what+": Poisson SE", s.PoissonSE, row["se_poisson"])
		limits := s.Limits(stats.Level{})
		printed(t, what+": lower", limits.Lo, row["lower95"])
		printed(t, what+": upper", limits.Hi, row["upper95"])
	}
}

// Source: facts.md 2. Two replacements on one engine at day 653, the day two
// others end: splitting the tie the other way gives 1.574434; Nelson's own
// variance, with n/(n-1) in it, gives 1/41 for the first error.
func TestRepairsComeBeforeEndingsAtAnAge(t *testing.T) {
	c := must[stats.MeanCurve](t)(stats.MeanCumulative(engines(t)))
	for _, w := range []struct {
		age, atRisk, repairs  int
		mean, robust, poisson float64
	}{
		{61, 41, 1, 0.02439024, 0.02409097, 0.02439024},
		{139, 41, 2, 0.2195122, 0.07326981, 0.07317073},
		{326, 41, 1, 0.5121951, 0.1097396, 0.1117701},
		{573, 40, 1, 0.9585366, 0.1689581, 0.1534988},
		{621, 17, 1, 1.118542, 0.2075029, 0.1750593},
		{653, 9, 2, 1.542688, 0.3116561, 0.2628056},
	} {
		s, what := must[stats.MeanStep](t)(c.At(w.age)), fmt.Sprint("age ", w.age)
		if s.AtRisk != w.atRisk || s.Repairs != w.repairs {
			t.Errorf("%s: %d at risk with %d repairs, want %d with %d", what, s.AtRisk, s.Repairs, w.atRisk, w.repairs)
		}
		near(t, what+": mean", s.Mean, w.mean)
		near(t, what+": robust SE", s.RobustSE, w.robust)
		near(t, what+": Poisson SE", s.PoissonSE, w.poisson)
	}
}

func TestTheMeanCurveIsReadWhereSetsWereWatched(t *testing.T) {
	c := must[stats.MeanCurve](t)(stats.MeanCumulative(engines(t)))
	if s := must[stats.MeanStep](t)(c.At(60)); s.Mean != 0 {
		t.Errorf("before the first repair: %v", s)
	}
	if s := must[stats.MeanStep](t)(c.At(761)); s.Age != 653 {
		t.Errorf("at the last end: step of age %d, want 653", s.Age)
	}
	var past *stats.PastLastError
	if s, err := c.At(762); !errors.As(err, &past) || past.Last != 761 {
		t.Errorf("after the last end: %v, %v", s, err)
	}
	// By hand from the row of day 61: 0.02439024 exp(+-1.959964 x 0.02409097/0.02439024).
	l, ok := must[stats.MeanStep](t)(c.At(61)).LogLimits(stats.Level{})
	near(t, "lower", l.Lo, 0.02439024*math.Exp(-1.959963985*0.02409097/0.02439024))
	near(t, "upper", l.Hi, 0.02439024*math.Exp(1.959963985*0.02409097/0.02439024))
	if _, none := (stats.MeanStep{}).LogLimits(stats.Level{}); !ok || none {
		t.Error("logarithmic limits: want them after the first repair and not before")
	}
}

func TestSetsThatCannotBeAreRefused(t *testing.T) {
	for what, s := range map[string]stats.Watched{
		"repair after the end": {Repairs: []int{9}, End: 8}, "repair before the start": {Repairs: []int{-1}, End: 8},
		"end before the start": {End: -1},
	} {
		if _, err := stats.MeanCumulative([]stats.Watched{{End: 3}, s}); err == nil {
			t.Errorf("%s was taken", what)
		}
	}
	if _, err := stats.MeanCumulative(nil); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("no sets: %v", err)
	}
}

// The walk keeps sums; the formula of Lawless and Nadeau as it stands in
// facts.md 2, set by set and age by age, is the model beside it.
func TestTheWalkGivesWhatTheFormulaGives(t *testing.T) {
	set := rapid.Custom(func(t *rapid.T) stats.Watched {
		end := rapid.IntRange(0, 20).Draw(t, "end")
		return stats.Watched{End: end, Repairs: rapid.SliceOfN(rapid.IntRange(0, end), 0, 6).Draw(t, "repairs")}
	})
	rapid.Check(t, func(rt *rapid.T) {
		sets := rapid.SliceOfN(set, 1, 15).Draw(rt, "sets")
		c, err := stats.MeanCumulative(sets)
		if err != nil {
			rt.Fatal(err)
		}
		for _, s := range c.Steps() {
			mean, robust, poisson := byFormula(sets, s.Age)
			within(rt, "mean", s.Mean, mean, 1e-9)
			within(rt, "robust variance", s.RobustSE*s.RobustSE, robust, 1e-9)
			within(rt, "Poisson variance", s.PoissonSE*s.PoissonSE, poisson, 1e-9)
		}
	})
}

func byFormula(sets []stats.Watched, upTo int) (mean, robust, poisson float64) {
	parts := make([]float64, len(sets))
	for age := 0; age <= upTo; age++ {
		r, d, own := 0.0, 0.0, make([]float64, len(sets))
		for i, s := range sets {
			if s.End >= age {
				r++
			}
			for _, a := range s.Repairs {
				if a == age {
					d++
					own[i]++
				}
			}
		}
		if d == 0 {
			continue
		}
		mean += d / r
		poisson += d / (r * r)
		for i, s := range sets {
			if s.End >= age {
				parts[i] += (own[i] - d/r) / r
			}
		}
	}
	for _, p := range parts {
		robust += p * p
	}
	return mean, robust, poisson
}

func BenchmarkMeanCumulativeOfElevenThousandSets(b *testing.B) {
	sets := make([]stats.Watched, 11000)
	for i := range sets {
		end := 500 + (i*7919)%9000
		sets[i] = stats.Watched{End: end, Repairs: []int{end / 3, end / 2}}
	}
	for b.Loop() {
		if _, err := stats.MeanCumulative(sets); err != nil {
			b.Fatal(err)
		}
	}
}

// By the definition: sets that are alike, told of once or one by one.
func TestSetsAlikeCountAsSoMany(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		once := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) stats.Watched {
			end := rapid.IntRange(0, 30).Draw(t, "end")
			return stats.Watched{End: end, Repairs: rapid.SliceOfN(rapid.IntRange(0, end), 0, 3).Draw(t, "repairs"), Alike: rapid.IntRange(0, 4).Draw(t, "alike")}
		}), 1, 12).Draw(rt, "sets")
		var each []stats.Watched
		for _, s := range once {
			for range s.Sets() {
				each = append(each, stats.Watched{End: s.End, Repairs: s.Repairs})
			}
		}
		got, want := must[stats.MeanCurve](t)(stats.MeanCumulative(once)).Steps(), must[stats.MeanCurve](t)(stats.MeanCumulative(each)).Steps()
		if len(got) != len(want) {
			rt.Fatalf("%d ages with a repair, want %d", len(got), len(want))
		}
		for i, g := range got {
			if w := want[i]; g.Age != w.Age || g.AtRisk != w.AtRisk || g.Repairs != w.Repairs {
				rt.Fatalf("%+v, want %+v", g, w)
			}
			within(rt, "mean", g.Mean, want[i].Mean, 1e-9)
			within(rt, "robust SE", g.RobustSE, want[i].RobustSE, 1e-7)
			within(rt, "Poisson SE", g.PoissonSE, want[i].PoissonSE, 1e-9)
		}
	})
}
