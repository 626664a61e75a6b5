package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Source: the definition, summed with the digits that rounding takes kept aside
// (Neumaier).
func TestARiseIsTheSumOfItsLogarithms(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := math.Exp(rapid.Float64Range(-7, 14).Draw(rt, "ln v"))
		n := rapid.OneOf(rapid.IntRange(0, 30), rapid.IntRange(0, 20000)).Draw(rt, "n")
		var log, slope, bend exact
		for j := range n {
			at := v + float64(j)
			log.add(math.Log(at))
			slope.add(1 / at)
			bend.add(-1 / (at * at))
		}
		from := risingFrom(v)
		got := from.to(float64(n))
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"logarithm", got.log, log.sum()}, {"slope", got.slope, slope.sum()}, {"bend", got.bend, bend.sum()}} {
			if math.Abs(c.got-c.want) > 1e-12*(math.Abs(c.want)+1e-9) && !(c.what == "logarithm" && math.Abs(c.got-c.want) < 1e-13*float64(n)) {
				rt.Errorf("%s of %d from %v: %v, want %v", c.what, n, v, c.got, c.want)
			}
		}
	})
}

// exact is a sum that keeps what rounding takes.
type exact struct{ total, lost float64 }

func (s *exact) add(x float64) {
	t := s.total + x
	if math.Abs(s.total) >= math.Abs(x) {
		s.lost += (s.total - t) + x
	} else {
		s.lost += (x - t) + s.total
	}
	s.total = t
}

func (s *exact) sum() float64 { return s.total + s.lost }
