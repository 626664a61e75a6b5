package stats

import "math"

// farOut is from where on the series below have all the digits there are.
const farOut = 10

// rising is what the logarithms of v(v+1)...(v+n-1) for many n and one v have in
// common.
type rising struct {
	few    [farOut + short + 1]product // of the first factors, by how many
	from   int                         // how many there are before the series begin
	before rise                        // of those
	v      float64                     // the factor behind them
	under  float64                     // 1/v
	log    float64                     // of v
	near   tail
}

// product is one with the derivatives that its logarithm has.
type product struct{ of, slope, bend float64 }

func (p product) rise() rise { return rise{math.Log(p.of), p.slope, p.bend} }

// short is up to how many factors, beyond those before the series, are multiplied.
const short = 3

// rise is a logarithm with its first two derivatives in v.
type rise struct{ log, slope, bend float64 }

func risingFrom(v float64) (r rising) {
	p := product{of: 1}
	for n := 0; ; n++ {
		r.few[n] = p
		if v < farOut {
			r.from = n + 1
		} else if n == r.from {
			r.before, r.v, r.under, r.log, r.near = p.rise(), v, 1/v, math.Log(v), tailOf(1/v)
		}
		if n == r.from+short {
			return r
		}
		p.of *= v
		p.slope += 1 / v
		p.bend -= 1 / (v * v)
		v++
	}
}

// to is the logarithm of v(v+1)...(v+n-1), which is that of gamma(v+n) over
// gamma(v), with its first two derivatives in v. The difference is taken before
// anything large is: that of two log gamma functions would lose its digits where
// v is large. Source of the series: NIST Handbook of Mathematical Functions,
// 5.11.1, 5.11.2 and 5.15.8 (from memory).
func (r *rising) to(n float64) rise {
	if n <= float64(r.from+short) {
		return r.few[int(n)].rise()
	}
	sum, v := r.before, r.v
	n -= float64(r.from)
	w := v + n
	log, under := math.Log(w), 1/w
	far, over := tailOf(under), n*r.under*under
	grown := log - r.log
	if n < v { // the difference of two logarithms would have too few digits
		grown = math.Log1p(n * r.under)
	}
	sum.log += (v-0.5)*grown + n*log - n + far.log - r.near.log
	sum.slope += grown + over/2 + far.slope - r.near.slope
	sum.bend += -over + far.bend - r.near.bend
	return sum
}

// tail is what the series have behind their first terms.
type tail struct{ log, slope, bend float64 }

// tailOf is that at 1/u.
func tailOf(u float64) tail {
	q := u * u
	return tail{
		log:   u * (1./12 - q*(1./360-q*(1./1260-q*(1./1680-q/1188)))),
		slope: -q * (1./12 - q*(1./120-q*(1./252-q*(1./240-q/132)))),
		bend:  q * (1./2 + u*(1./6-q*(1./30-q*(1./42-q*(1./30-q*5/66))))),
	}
}
