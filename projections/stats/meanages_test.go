package stats_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// atAges makes the means at ages of sets.
func atAges(sets []stats.Watched, ages []int) (line stats.MeanLine, steps []stats.MeanStep, err error) {
	var ended, repairs []int
	add := func(list *[]int, at, n int) {
		for len(*list) <= at {
			*list = append(*list, 0)
		}
		(*list)[at] += n
	}
	for _, s := range sets {
		add(&ended, s.End, s.Sets())
		for _, a := range s.Repairs {
			add(&repairs, a, s.Sets())
		}
	}
	m, err := stats.NewMeanAges(ended, repairs, ages)
	if err != nil {
		return line, nil, err
	}
	for _, s := range sets {
		own := make([]stats.AgeCount, len(s.Repairs))
		for i, a := range slices.Sorted(slices.Values(s.Repairs)) {
			own[i] = stats.AgeCount{Age: int32(a), N: int32(s.Sets())}
			if err := m.AddPairs(a, own[:i]); err != nil {
				return line, nil, err
			}
		}
		if err := m.AddEnded(s.End, own); err != nil {
			return line, nil, err
		}
	}
	return m.Line(), m.Steps(), nil
}

// Source: mcf_valve_seat_expected.csv, as for the curve of all ages.
func TestTheValveSeatsAreMetAtEachAgeThatIsAskedFor(t *testing.T) {
	want := rows(t, "mcf_valve_seat_expected")
	var ages []int
	for _, row := range want {
		ages = append(ages, whole(t, row["age"]))
	}
	line, steps, err := atAges(engines(t), ages)
	if err != nil || len(steps) != len(want) {
		t.Fatalf("%d steps, %v; want %d", len(steps), err, len(want))
	}
	for i, row := range want {
		s, what := steps[i], "age "+row["age"]
		if got, w := [3]int{s.Age, s.AtRisk, s.Repairs}, [3]int{ages[i], whole(t, row["at_risk"]), whole(t, row["events"])}; got != w {
			t.Errorf("%s: age, at risk, repairs %v, want %v", what, got, w)
		}
		printed(t, what+": mean", s.Mean, row["mcf"])
		printed(t, what+": robust SE", s.RobustSE, row["se_robust"])
		printed(t, what+": Poisson SE", s.PoissonSE, row["se_poisson"])
		if mean, err := line.At(ages[i]); err != nil || mean != s.Mean {
			t.Errorf("%s: the line has %v, %v; want %v", what, mean, err, s.Mean)
		}
	}
}

// The model beside it is the curve made set by set, which is held against the formula
// and the published table; within 1e-12 at every age that any set was watched to.
func TestAMeanAtSomeAgesIsThatOfTheWholeCurve(t *testing.T) {
	set := rapid.Custom(func(t *rapid.T) stats.Watched {
		end := rapid.IntRange(0, 60).Draw(t, "end")
		return stats.Watched{End: end, Alike: rapid.IntRange(1, 3).Draw(t, "alike"),
			Repairs: rapid.OneOf(rapid.Just([]int(nil)), rapid.SliceOfN(rapid.IntRange(0, end), 0, 5)).Draw(t, "repairs")}
	})
	rapid.Check(t, func(rt *rapid.T) {
		sets := rapid.SliceOfN(set, 1, 40).Draw(rt, "sets")
		curve, err := stats.MeanCumulative(sets)
		if err != nil {
			rt.Fatal(err)
		}
		ages := make([]int, 70)
		for i := range ages {
			ages[i] = i
		}
		line, steps, err := atAges(sets, ages)
		if err != nil {
			rt.Fatal(err)
		}
		for _, age := range ages {
			want, pastEnd := curve.At(age)
			mean, err := line.At(age)
			if (err == nil) != (pastEnd == nil) || (err == nil) != (age < len(steps)) || line.Len() != len(steps) {
				rt.Fatalf("age %d: %v, want %v; of %d steps", age, err, pastEnd, len(steps))
			}
			if err != nil {
				continue
			}
			got := steps[age]
			if got.Age != want.Age || got.AtRisk != want.AtRisk || got.Repairs != want.Repairs {
				rt.Fatalf("age %d: %+v, want %+v", age, got, want)
			}
			within(rt, fmt.Sprint("mean to age ", age), mean, want.Mean, 1e-12)
			within(rt, fmt.Sprint("mean at age ", age), got.Mean, want.Mean, 1e-12)
			within(rt, fmt.Sprint("robust variance at age ", age), got.RobustSE*got.RobustSE, want.RobustSE*want.RobustSE, 1e-12)
			within(rt, fmt.Sprint("Poisson variance at age ", age), got.PoissonSE*got.PoissonSE, want.PoissonSE*want.PoissonSE, 1e-12)
		}
	})
}

// Where sets are much alike, what is left of the variance is a small part of the sums
// that it is made of. Source: the definition in numbers of 300 bits; of the error a
// millionth of a millionth may be missing, or what rounding the shares of at most four
// repairs leaves.
func TestTheVarianceOfSetsMuchAlikeKeepsItsDigits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		age := rapid.IntRange(1, 50)
		alike := stats.Watched{End: 60, Alike: rapid.IntRange(1, 1_000_000_000).Draw(rt, "alike"), Repairs: rapid.SliceOfN(age, 1, 4).Draw(rt, "repairs")}
		odd := stats.Watched{End: rapid.IntRange(50, 70).Draw(rt, "end of the odd ones"), Alike: rapid.IntRange(1, 3).Draw(rt, "odd ones"), Repairs: rapid.SliceOfN(age, 0, 4).Draw(rt, "their repairs")}
		sets := []stats.Watched{alike, odd}
		if rapid.Bool().Draw(rt, "none is odd") {
			sets = sets[:1]
		}
		_, steps, err := atAges(sets, []int{5, 30, 60})
		if err != nil {
			rt.Fatal(err)
		}
		for i, at := range []int{5, 30, 60} {
			variance, _ := exactVariance(sets, at).Float64()
			want := math.Sqrt(variance)
			within(rt, fmt.Sprint("robust SE at age ", at), steps[i].RobustSE, want, 1e-12*want+4e-15)
		}
	})
}

// exactVariance is the robust variance by its definition (facts.md 2, Lawless and
// Nadeau).
func exactVariance(sets []stats.Watched, to int) *big.Float {
	num := func(x float64) *big.Float { return new(big.Float).SetPrec(300).SetFloat64(x) }
	variance := num(0)
	for _, own := range sets {
		part := num(0)
		for age := 0; age <= min(to, own.End); age++ {
			atRisk, d, mine := 0, 0, 0
			for _, s := range sets {
				n := 0
				for _, a := range s.Repairs {
					n += map[bool]int{true: 1}[a == age]
				}
				atRisk += map[bool]int{true: s.Sets()}[s.End >= age]
				d += n * s.Sets()
			}
			for _, a := range own.Repairs {
				mine += map[bool]int{true: 1}[a == age]
			}
			r := num(float64(atRisk))
			off := num(float64(mine))
			off.Sub(off, num(0).Quo(num(float64(d)), r))
			part.Add(part, off.Quo(off, r))
		}
		part.Mul(part, part)
		variance.Add(variance, part.Mul(part, num(float64(own.Sets()))))
	}
	return variance
}

func TestRepairsThatCannotBeAreRefused(t *testing.T) {
	ended := func(end int, repairs ...stats.AgeCount) func(*stats.MeanAges) error {
		return func(m *stats.MeanAges) error { return m.AddEnded(end, repairs) }
	}
	pairs := func(later int, earlier ...stats.AgeCount) func(*stats.MeanAges) error {
		return func(m *stats.MeanAges) error { return m.AddPairs(later, earlier) }
	}
	for what, add := range map[string]func(*stats.MeanAges) error{
		"repair after the end":       ended(6, stats.AgeCount{Age: 1, N: 1}, stats.AgeCount{Age: 7, N: 1}),
		"repair before the start":    ended(6, stats.AgeCount{Age: -1, N: 1}),
		"no repair":                  ended(6, stats.AgeCount{Age: 1}),
		"end before the start":       ended(-1),
		"end after all":              ended(7, stats.AgeCount{Age: 1, N: 1}),
		"a pair the wrong way round": pairs(2, stats.AgeCount{Age: 1, N: 1}, stats.AgeCount{Age: 3, N: 1}),
		"a pair from the start":      pairs(2, stats.AgeCount{Age: -1, N: 1}),
		"a pair before the start":    pairs(-1, stats.AgeCount{Age: -2, N: 1}),
		"a pair after all":           pairs(7, stats.AgeCount{Age: 1, N: 1}),
		"no pair":                    pairs(2, stats.AgeCount{Age: 1}),
	} {
		m, err := stats.NewMeanAges([]int{0, 0, 0, 0, 0, 0, 3}, []int{0, 2}, []int{90})
		if err != nil {
			t.Fatal(err)
		}
		if err := add(m); err == nil {
			t.Errorf("%s was taken", what)
		}
	}
	if _, err := stats.NewMeanAges(nil, nil, []int{90}); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("no sets: %v", err)
	}
	for what, c := range map[string][2][]int{"fewer than no sets": {{0, -1, 2}}, "fewer than no repairs": {{3}, {-1}}, "a repair after all": {{3}, {0, 1}}} {
		if _, err := stats.NewMeanAges(c[0], c[1], []int{90}); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
}
