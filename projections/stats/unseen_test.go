package stats_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// sample reads one list of richness_abundance.csv.
func sample(t testing.TB, name string) stats.Sightings {
	t.Helper()
	var times []int
	for _, row := range rows(t, "richness_abundance") {
		if row["sample"] == name {
			times = append(times, whole(t, row["abundance"]))
		}
	}
	return must[stats.Sightings](t)(stats.SightingsOf(times))
}

// Source: iNEXT's printed values for its spiders, recomputed in facts.md 3.
func TestTheUnseenSpiders(t *testing.T) {
	s := sample(t, "girdled")
	if want := (stats.Sightings{N: 168, Seen: 26, Once: 12, Twice: 4}); s != want {
		t.Fatalf("%+v, want %+v", s, want)
	}
	r := s.Chao1()
	near(t, "classic", r.Models, 43.89286)
	near(t, "SE", r.SE, 14.30558)
	l, ok := r.Limits(stats.Level{})
	within(t, "lower", l.Lo, 30.511, 0.51e-3)
	within(t, "upper", l.Hi, 96.973, 0.51e-2) // facts.md takes 1.96 for z
	if !ok {
		t.Error("no limits")
	}
	near(t, "corrected", s.Chao1Corrected().Models, 39.2)
	near(t, "coverage", s.Coverage(), 0.9285714)
}

// Source: vegan 2.6-4 on the first forest plot, by facts.md 3.
func TestTheUnseenTrees(t *testing.T) {
	s := sample(t, "bci1")
	if want := (stats.Sightings{N: 448, Seen: 93, Once: 31, Twice: 18}); s != want {
		t.Fatalf("%+v, want %+v", s, want)
	}
	near(t, "corrected", s.Chao1Corrected().Models, 117.4737)
	near(t, "its SE", s.Chao1Corrected().SE, 11.58378)
	near(t, "classic", s.Chao1().Models, 119.6349)
}

// Facts.md 3: without a model seen twice the corrected form is used. By hand:
// three models, two of them once: 3 + 2 x 1 / 2.
func TestWithoutModelsSeenTwiceTheCorrectedFormStandsIn(t *testing.T) {
	s := must[stats.Sightings](t)(stats.SightingsOf([]int{1, 1, 5, 0}))
	near(t, "models", s.Chao1().Models, 4)
	if s.Chao1() != s.Chao1Corrected() {
		t.Errorf("%v, want %v", s.Chao1(), s.Chao1Corrected())
	}
}

func TestWhereNothingSeemsMissingThereAreNoLimits(t *testing.T) {
	s := must[stats.Sightings](t)(stats.SightingsOf([]int{4, 5, 2}))
	for what, r := range map[string]stats.Richness{"classic": s.Chao1(), "corrected": s.Chao1Corrected()} {
		if _, ok := r.Limits(stats.Level{}); ok || r.Models != 3 || r.SE != 0 {
			t.Errorf("%s: %+v with limits: %v", what, r, ok)
		}
	}
}

func TestSightingsThatCannotBeAreRefused(t *testing.T) {
	if _, err := stats.SightingsOf([]int{3, -1}); err == nil {
		t.Error("-1 sightings were taken")
	}
	if _, err := stats.SightingsOf([]int{0}); !errors.Is(err, stats.ErrNoCases) {
		t.Errorf("no sightings: %v", err)
	}
	if c := (stats.Sightings{}).Coverage(); c != 0 {
		t.Errorf("coverage of nothing: %v", c)
	}
}

func TestAnEstimateIsNeverBelowWhatWasSeen(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, err := stats.SightingsOf(rapid.SliceOfN(rapid.IntRange(0, 6), 1, 40).Draw(rt, "times"))
		if err != nil {
			rt.Skip("nothing seen")
		}
		for what, r := range map[string]stats.Richness{"classic": s.Chao1(), "corrected": s.Chao1Corrected()} {
			l, ok := r.Limits(stats.Level{})
			if !(r.Models >= float64(s.Seen)) || !(r.SE >= 0) {
				rt.Fatalf("%s: %v of %+v", what, r, s)
			}
			if ok && !(float64(s.Seen) <= l.Lo && l.Lo <= r.Models && r.Models <= l.Hi) {
				rt.Fatalf("%s: limits %v of %v", what, l, r)
			}
		}
		if c := s.Coverage(); !(c >= 0 && c <= 1) {
			rt.Fatalf("coverage %v of %+v", c, s)
		}
	})
}
