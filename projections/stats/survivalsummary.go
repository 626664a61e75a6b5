package stats

import (
	"fmt"
	"math"
)

// sameHeight is how near to each other two heights are taken as one: a product
// of many fractions that is a half on paper is not quite a half in a float.
const sameHeight = 1e-9

// Reach is a day on which a curve comes down to a height, if it does.
type Reach struct {
	Day     float64 // a half day where the middle of a flat is meant
	Reached bool
}

// CurveQuantile is a quantile of a survival curve with its limits, each of
// which the curve may not reach.
type CurveQuantile struct{ Estimate, Lower, Upper Reach }

// Quantile gives the day by which a share p has had the event, 0.5 for the
// median. The limits are where the lower and the upper limit of the curve come
// down to the same height.
func (c Curve) Quantile(p float64, level Level) (CurveQuantile, error) {
	if !(p > 0 && p < 1) {
		return CurveQuantile{}, fmt.Errorf("quantile %v of a survival curve: must be above 0 and below 1", p)
	}
	height := func(s Step) (float64, bool) { return s.S, true }
	lower := func(s Step) (float64, bool) { l, ok := s.Limits(level); return l.Lo, ok }
	upper := func(s Step) (float64, bool) { l, ok := s.Limits(level); return l.Hi, ok }
	return CurveQuantile{
		Estimate: c.crossing(1-p, height),
		Lower:    c.crossing(1-p, lower),
		Upper:    c.crossing(1-p, upper),
	}, nil
}

// crossing is the first day on which a line along the curve is at or below a
// height. Where the line lies flat on just that height, every day of the flat
// would do as well, and its middle is taken, as for a median of an even number
// of values. A flat that never ends has no middle: its first day is taken.
func (c Curve) crossing(height float64, line func(Step) (float64, bool)) Reach {
	flat := -1
	for _, s := range c.steps {
		if s.Events == 0 {
			continue
		}
		v, ok := line(s)
		switch {
		case !ok || v > height+sameHeight:
		case flat >= 0 && v < height-sameHeight:
			return Reach{float64(flat+s.Day) / 2, true}
		case flat < 0 && v < height-sameHeight:
			return Reach{float64(s.Day), true}
		case flat < 0:
			flat = s.Day
		}
	}
	return Reach{float64(max(flat, 0)), flat >= 0}
}

// RestrictedMean is the mean number of days without an event, counted up to a
// day at most.
type RestrictedMean struct{ Days, SE float64 }

// RestrictedMean gives the area under the curve up to day tau. It refuses a tau
// after the last observation unless the curve is down to 0: the curve could
// only be drawn on flat there, and the mean would come out too high.
func (c Curve) RestrictedMean(tau int) (RestrictedMean, error) {
	if tau <= 0 {
		return RestrictedMean{}, fmt.Errorf("restricted mean up to day %d: must be above zero", tau)
	}
	if err := c.reaches(tau); err != nil {
		return RestrictedMean{}, fmt.Errorf("restricted mean: %w", err)
	}
	area, variance, right := 0.0, 0.0, tau
	for i := len(c.steps) - 1; i >= 0; i-- {
		s := c.steps[i]
		if s.Day > tau {
			continue
		}
		area += s.S * float64(right-s.Day)
		right = s.Day
		if area > 0 && s.Events > 0 { // with no area left the jump may be infinite and counts nothing
			variance += area * area * jump(s.Events, s.AtRisk)
		}
	}
	return RestrictedMean{area + float64(right), math.Sqrt(variance)}, nil
}
