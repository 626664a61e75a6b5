package picture

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestTicksAreRoundAndFew(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		most   int
		whole  bool
		want   []float64
	}{
		{0, 1, 6, false, []float64{0, 0.2, 0.4, 0.6, 0.8, 1}},
		{0.7, 1, 6, false, []float64{0.7, 0.8, 0.9, 1}},
		{0, 161, 7, true, []float64{0, 50, 100, 150}},
		{0, 3, 7, true, []float64{0, 1, 2, 3}},
		{0, 0.4, 7, true, []float64{0}},
		{0, 13.2, 5, false, []float64{0, 5, 10}},
		{0, 0.3, 5, false, []float64{0, 0.1, 0.2, 0.3}},
	} {
		if got := ticks(c.lo, c.hi, c.most, c.whole); !slices.Equal(got, c.want) {
			t.Errorf("ticks %v to %v: %v, want %v", c.lo, c.hi, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		hi, most := math.Pow(10, rapid.Float64Range(-6, 6).Draw(t, "exponent")), rapid.IntRange(2, 8).Draw(t, "most")
		got := ticks(0, hi, most, false)
		if len(got) > most || len(got) < 1 || got[0] != 0 || got[len(got)-1] > hi*(1+1e-6) {
			t.Fatalf("ticks to %v, at most %d: %v", hi, most, got)
		}
	})
}

func TestHeightsGrowUpwards(t *testing.T) {
	s := upright(0, 1, 10, 110)
	if s.at(0) != 110 || s.at(1) != 10 || s.at(0.25) != 85 {
		t.Errorf("0, 1 and 0.25 are at %v, %v and %v", s.at(0), s.at(1), s.at(0.25))
	}
}

func TestFiguresHaveAsManyDigitsAsAreRead(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 21: "21", 1234.4: "1234", 11.84: "11.8", 0.402: "0.40", 0.0562: "0.056", 0.0001: "0.0001"} {
		if got := figure(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
	for v, want := range map[float64]string{-0.04: "0.0", 1.25: "1.3", -2.31: "-2.3", 7: "7.0"} {
		if got := num(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
}
