package measure

import (
	"fmt"
	"math"
)

// series holds the preferred numbers of IEC 60063 as hundredths, so 470 is 4.7.
// E48 and E96 are rounded powers; E24 and its parts are a table with eight
// values that rounding would not give.
var series = map[string][]int64{
	"E6":  {100, 150, 220, 330, 470, 680},
	"E12": {100, 120, 150, 180, 220, 270, 330, 390, 470, 560, 680, 820},
	"E24": {
		100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
		330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910,
	},
	"E48": roundedPowers(48),
	"E96": roundedPowers(96),
}

func roundedPowers(n int) []int64 {
	values := make([]int64, n)
	for i := range values {
		values[i] = int64(math.Round(100 * math.Pow(10, float64(i)/float64(n))))
	}
	return values
}

// NearestE gives the preferred value nearest to v in a series, E6 to E96, and
// how far it is from v in tenths of a percent of v: 500 ohm in E6 gives 470 ohm
// and -60. Halfway between two it gives the lower. It is an offer for a new
// part; what is printed on the old one stays as it is. It refuses a series it
// does not know and a value that is not above zero.
func NearestE(name string, v Value) (nearest Value, percentTenths int, err error) {
	values, ok := series[name]
	if !ok {
		return Value{}, 0, fmt.Errorf("nearest value in series %q: want E6, E12, E24, E48 or E96", name)
	}
	if v.Mant <= 0 {
		return Value{}, 0, fmt.Errorf("nearest value in %s to %s: it must be above zero", name, v.Canonical())
	}
	// The value as an integer of nine digits or so, to leave room for a
	// thousandfold: a tenth of a percent needs no more.
	have, exp := v.Mant, int(v.Exp)
	for ; digits(have) > 9; exp++ {
		have /= 10
	}
	for ; digits(have) < 9; exp-- {
		have *= 10
	}
	best := int64(0)
	for _, hundredth := range append(values[:len(values):len(values)], 1000) {
		if c := hundredth * 1e6; best == 0 || distance(c, have) < distance(best, have) {
			best = c
		}
	}
	nearest = Value{Mant: best, Exp: int8(exp), Unit: v.Unit}.Normal()
	return nearest, int(divideRounded((best-have)*1000, have)), nil
}

func distance(a, b int64) int64 { return max(a-b, b-a) }

// divideRounded divides by a positive number, halves away from zero.
func divideRounded(n, by int64) int64 {
	whole, rest := n/by, n%by
	switch {
	case rest > 0 && rest >= by-rest:
		whole++
	case rest < 0 && -rest >= by+rest:
		whole--
	}
	return whole
}
