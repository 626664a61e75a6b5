package report

import "math"

// Gauge is one point's readings as numbers of one unit, to be drawn. What is not
// known is NaN.
type Gauge struct{ Found, Left, Low, High float64 }

// NoGauge has nothing to draw.
func NoGauge() Gauge { return Gauge{math.NaN(), math.NaN(), math.NaN(), math.NaN()} }

// Drawn reports whether a picture would tell anything: before and after, or a
// reading beside its limits.
func (g Gauge) Drawn() bool {
	found, left := finite(g.Found), finite(g.Left)
	return found && left || (found || left) && (finite(g.Low) || finite(g.High))
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// near is how close together all that is on a scale lies, as a part of the largest,
// where a scale from 0 would show no difference: a dial's frequency and its limits.
const near = 0.8

// Span is what the gauge's scale goes from and to. It begins at 0, so that lengths
// can be compared, unless something is below that or all of it lies near together;
// then it holds what is there, with some room at both ends.
func (g Gauge) Span() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range []float64{g.Found, g.Left, g.Low, g.High} {
		if finite(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo >= 0 && lo < near*hi {
		return 0, hi * 1.1
	}
	room := (hi - lo) * 0.14
	if room == 0 {
		room = max(math.Abs(hi)*0.14, 1)
	}
	return lo - room, hi + room
}

// At is where on the scale a value lies, from 0 to 1.
func (g Gauge) At(v float64) float64 {
	lo, hi := g.Span()
	return (v - lo) / (hi - lo)
}

// Band is where the limits lie on the scale; ok is whether there are any. One that
// is open to a side goes to that end.
func (g Gauge) Band() (from, to float64, ok bool) {
	from, to = 0, 1
	if finite(g.Low) {
		from = g.At(g.Low)
	}
	if finite(g.High) {
		to = g.At(g.High)
	}
	return from, to, (finite(g.Low) || finite(g.High)) && from <= to
}
