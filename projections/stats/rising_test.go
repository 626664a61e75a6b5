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
		var from rising
		from.begin(v)
		groups := float64(rapid.IntRange(1, 3).Draw(rt, "groups"))
		counts := []alike{{float64(n), groups}}
		slopes, bends := from.slopes(counts)
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"logarithm", from.log(counts) / groups, log.sum()}, {"slope", slopes / groups, slope.sum()}, {"bend", bends / groups, bend.sum()}} {
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

// Source: the definition. Together the large counts grow by more than a float holds,
// and the small ones by so little that a sum with 1 would lose it.
func TestTheSlopesOfManyRisesAreTheSumsOfTheirFractions(t *testing.T) {
	var small, large []alike
	for n := 4; n < 20; n++ {
		small = append(small, alike{float64(n), float64(1 + n%2)})
	}
	for n := 100; n < 15_000; n += 100 {
		large = append(large, alike{float64(n), 1})
	}
	for _, v := range []float64{0.02, 2.5, 10, 30, 1000, 1e6} {
		for name, counts := range map[string][]alike{"small": small, "large": large} {
			var slope, bend exact
			for _, c := range counts {
				for j := range int(c.n) {
					slope.add(c.groups / (v + float64(j)))
					bend.add(-c.groups / (v + float64(j)) / (v + float64(j)))
				}
			}
			var r rising
			r.begin(v)
			s, b := r.slopes(counts)
			if !(math.Abs(s-slope.sum()) <= 1e-13*slope.sum()) || !(math.Abs(b-bend.sum()) <= -1e-12*bend.sum()) {
				t.Errorf("%s counts from %v: %v and %v, want %v and %v", name, v, s, b, slope.sum(), bend.sum())
			}
		}
	}
}
