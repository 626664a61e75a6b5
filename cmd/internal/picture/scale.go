package picture

import "math"

// scale puts a number between two ends of a line.
type scale struct{ lo, hi, from, to float64 }

func (s scale) at(v float64) float64 {
	return s.from + (v-s.lo)/(s.hi-s.lo)*(s.to-s.from)
}

// upright is a scale for heights. It is the only place that knows that SVG
// counts downwards while a picture's heights grow upwards.
func upright(lo, hi, top, bottom float64) scale { return scale{lo, hi, bottom, top} }

// ticks are round numbers from lo to hi, at most so many: steps of 1, 2 or 5
// times a power of ten. whole asks for steps of 1 at least.
func ticks(lo, hi float64, most int, whole bool) []float64 {
	step := math.Pow(10, math.Floor(math.Log10(hi-lo))-1)
	for i := 0; ; i++ {
		next := step * []float64{1, 2, 5}[i%3] * math.Pow(10, float64(i/3))
		first, last := math.Ceil(lo/next-1e-9), math.Floor(hi/next+1e-9)
		if int(last-first)+1 > most || whole && next < 1 {
			continue
		}
		var out []float64
		for k := first; k <= last; k++ {
			out = append(out, tidy(k*next))
		}
		return out
	}
}

// tidy takes off what binary fractions leave behind 0.1 three times, and the
// sign of minus zero.
func tidy(v float64) float64 { return math.Round(v*1e9)/1e9 + 0 }

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
