package stats

import "math"

// farOut is from where on the series below have all the digits there are.
const farOut = 10

// rising is what the logarithms of v(v+1)...(v+n-1) for many n and one v have in
// common.
//
// Such a logarithm is that of gamma(v+n) over gamma(v), and its derivatives are made
// of series. The difference is taken before anything large is: that of two log gamma
// functions would lose its digits where v is large. Source of the series: NIST
// Handbook of Mathematical Functions, 5.11.1, 5.11.2 and 5.15.8 (from memory).
type rising struct {
	few    [farOut + short + 1]product // of the first factors, by how many
	from   float64                     // how many there are before the series begin
	before product                     // of those
	v      float64                     // the factor behind them
	under  float64                     // 1/v
}

// product is one with the derivatives that its logarithm has in v.
type product struct{ of, slope, bend float64 }

// short is up to how many factors, beyond those before the series, are multiplied.
const short = 3

// begin has it be of a v.
func (r *rising) begin(v float64) {
	p := product{of: 1}
	from := 0
	for n := 0; ; n++ {
		r.few[n] = p
		under := 1 / v
		if v < farOut {
			from = n + 1
		} else if n == from {
			r.from, r.before, r.v, r.under = float64(n), p, v, under
		}
		if n == from+short {
			return
		}
		p.of *= v
		p.slope += under
		p.bend -= under * under
		v++
	}
}

// counted says that for so many factors no series is needed.
func (r *rising) counted(n float64) bool { return n <= r.from+short }

// alike is that so many groups have a count of n.
type alike struct{ n, groups float64 }

// log is the sum of the groups' logarithms.
func (r *rising) log(counts []alike) (sum float64) {
	logV, nearTail := math.Log(r.v), logTail(r.under)
	logBefore := math.Log(r.before.of)
	for _, c := range counts {
		if r.counted(c.n) {
			sum += c.groups * math.Log(r.few[int(c.n)].of)
			continue
		}
		n := c.n - r.from
		w := r.v + n
		log := math.Log(w)
		grown := log - logV
		if n < r.v { // the difference of two logarithms would have too few digits
			grown = math.Log1p(n * r.under)
		}
		sum += c.groups * (logBefore + (r.v-0.5)*grown + n*log - n + logTail(1/w) - nearTail)
	}
	return sum
}

// slopes are the sums of the groups' first two derivatives in v. Of all groups that
// the series are for, the logarithms in the first are one, that of a product.
func (r *rising) slopes(counts []alike) (slope, bend float64) {
	var grown growth
	far := 0.0
	for _, c := range counts {
		if r.counted(c.n) {
			p := &r.few[int(c.n)]
			slope, bend = slope+c.groups*p.slope, bend+c.groups*p.bend
			continue
		}
		n := c.n - r.from
		under := 1 / (r.v + n)
		by := n * r.under
		over := by * under
		far += c.groups
		if c.groups == 1 {
			grown.times(by)
		} else {
			grown.logs += c.groups * math.Log1p(by)
		}
		slope += c.groups * (over/2 + slopeTail(under))
		bend += c.groups * (bendTail(under) - over)
	}
	slope += far*(r.before.slope-slopeTail(r.under)) + grown.log()
	bend += far * (r.before.bend - bendTail(r.under))
	return slope, bend
}

// growth is a product of factors above 1, of which it keeps by how much they are above
// it: near 1 they would lose their digits.
type growth struct {
	by   float64
	logs float64 // of what was in it before it became too large, and of other factors
}

// times multiplies by 1+by.
func (g *growth) times(by float64) {
	const mostKept = 1e200
	if g.by = g.by*(1+by) + by; g.by > mostKept {
		g.logs, g.by = g.log(), 0
	}
}

// log is the logarithm of the product.
func (g *growth) log() float64 { return g.logs + math.Log1p(g.by) }

// What the series have behind their first terms, at 1/u: that of the logarithm and of
// its derivatives.

func logTail(u float64) float64 {
	q := u * u
	return u * (1./12 - q*(1./360-q*(1./1260-q*(1./1680-q*(1./1188)))))
}

// fewTerms is below which 1/u the terms behind the third are less than rounding.
const fewTerms = 1e-3

func slopeTail(u float64) float64 {
	q := u * u
	rest := 1. / 252
	if u > fewTerms {
		rest -= q * (1./240 - q*(1./132))
	}
	return -q * (1./12 - q*(1./120-q*rest))
}

func bendTail(u float64) float64 {
	q := u * u
	rest := 1. / 30
	if u > fewTerms {
		rest -= q * (1./42 - q*(1./30-q*(5./66)))
	}
	return q * (1./2 + u*(1./6-q*rest))
}
