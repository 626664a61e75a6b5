package stats_test

import (
	"errors"
	"fmt"
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
		var ages []int32
		for _, a := range slices.Sorted(slices.Values(s.Repairs)) {
			ages = append(ages, int32(a))
		}
		if len(ages) == 0 {
			continue // such sets need not be added
		}
		if err := m.Add(s.End, s.Sets(), ages); err != nil {
			return line, nil, err
		}
	}
	steps, err = m.Steps()
	return m.Line(), steps, err
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

func TestRepairedSetsThatCannotBeAreRefused(t *testing.T) {
	for what, add := range map[string]func(*stats.MeanAges) error{
		"repair after the end": func(m *stats.MeanAges) error { return m.Add(5, 1, []int32{6}) },
		"repairs out of order": func(m *stats.MeanAges) error { return m.Add(5, 1, []int32{4, 3}) },
		"before the start":     func(m *stats.MeanAges) error { return m.Add(5, 1, []int32{-1}) },
		"no set":               func(m *stats.MeanAges) error { return m.Add(5, 0, []int32{1}) },
		"end before the start": func(m *stats.MeanAges) error { return m.Add(-1, 1, []int32{-1}) },
		"more than there are":  func(m *stats.MeanAges) error { return m.Add(6, 4, []int32{1}) },
		"end after all":        func(m *stats.MeanAges) error { return m.Add(7, 1, []int32{1}) },
		"a set left out":       func(m *stats.MeanAges) error { _, err := m.Steps(); return err },
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
