package stats

import "math"

// farOut is from where on the series below have all the digits there are.
const farOut = 10

// rising is the logarithm of v(v+1)...(v+n-1), which is that of gamma(v+n) over
// gamma(v), with its first two derivatives in v. The difference is taken before
// anything large is: that of two log gamma functions would lose its digits where
// v is large. Source of the series: NIST Handbook of Mathematical Functions,
// 5.11.1, 5.11.2 and 5.15.8 (from memory).
func rising(v, n float64) (log, slope, bend float64) {
	product := 1.0
	for ; n > 0 && (v < farOut || n < 4); v, n = v+1, n-1 {
		product *= v
		slope += 1 / v
		bend -= 1 / (v * v)
	}
	log = math.Log(product)
	if n == 0 {
		return log, slope, bend
	}
	w := v + n
	near, far := tailOf(v), tailOf(w)
	grown := math.Log1p(n / v)
	log += (v-0.5)*grown + n*math.Log(w) - n + far.log - near.log
	slope += grown + n/(2*v*w) + far.slope - near.slope
	bend += -n/(v*w) + far.bend - near.bend
	return log, slope, bend
}

// tail is what the series have behind their first terms.
type tail struct{ log, slope, bend float64 }

func tailOf(x float64) tail {
	u := 1 / x
	q := u * u
	return tail{
		log:   u * (1./12 - q*(1./360-q*(1./1260-q*(1./1680-q/1188)))),
		slope: -q * (1./12 - q*(1./120-q*(1./252-q*(1./240-q/132)))),
		bend:  q * (1./2 + u*(1./6-q*(1./30-q*(1./42-q*(1./30-q*5/66))))),
	}
}
