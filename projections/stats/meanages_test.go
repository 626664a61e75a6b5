package stats_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// apartSets are sets as MeanAtAges takes them.
func apartSets(t fatal, sets []stats.Watched) (unrepaired []int, r stats.Repaired) {
	for _, s := range sets {
		if len(s.Repairs) == 0 {
			for len(unrepaired) <= s.End {
				unrepaired = append(unrepaired, 0)
			}
			unrepaired[s.End] += s.Sets()
			continue
		}
		var ages []int32
		for _, a := range slices.Sorted(slices.Values(s.Repairs)) {
			ages = append(ages, int32(a))
		}
		if err := r.Add(s.End, s.Sets(), ages); err != nil {
			t.Fatal(err)
		}
	}
	return unrepaired, r
}

type fatal interface{ Fatal(args ...any) }

// Source: mcf_valve_seat_expected.csv, as for the curve of all ages.
func TestTheValveSeatsAreMetAtEachAgeThatIsAskedFor(t *testing.T) {
	unrepaired, r := apartSets(t, engines(t))
	want := rows(t, "mcf_valve_seat_expected")
	var ages []int
	for _, row := range want {
		ages = append(ages, whole(t, row["age"]))
	}
	line, steps, err := stats.MeanAtAges(unrepaired, r, ages)
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
		unrepaired, r := apartSets(rt, sets)
		line, steps, err := stats.MeanAtAges(unrepaired, r, ages)
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

func TestRepairedSetsThatCannotBeAreRefused(t *testing.T) {
	for what, add := range map[string]func(*stats.Repaired) error{
		"no repair":            func(r *stats.Repaired) error { return r.Add(5, 1, nil) },
		"repair after the end": func(r *stats.Repaired) error { return r.Add(5, 1, []int32{6}) },
		"repairs out of order": func(r *stats.Repaired) error { return r.Add(5, 1, []int32{4, 3}) },
		"before the start":     func(r *stats.Repaired) error { return r.Add(5, 1, []int32{-1}) },
		"no set":               func(r *stats.Repaired) error { return r.Add(5, 0, []int32{1}) },
		"end before the start": func(r *stats.Repaired) error { return r.Add(-1, 1, []int32{-1}) },
		"end out of bounds":    func(r *stats.Repaired) error { return r.Add(math.MaxInt32+1, 1, []int32{1}) },
	} {
		if err := add(new(stats.Repaired)); err == nil {
			t.Errorf("%s was taken", what)
		}
	}
	if _, _, err := stats.MeanAtAges(nil, stats.Repaired{}, []int{90}); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("no sets: %v", err)
	}
	if _, _, err := stats.MeanAtAges([]int{0, -1, 2}, stats.Repaired{}, []int{90}); err == nil {
		t.Error("fewer than no sets were taken")
	}
}
