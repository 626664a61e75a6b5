package stats

import (
	"fmt"
	"math"
)

// Fisher is the outcome of the exact test of a table.
type Fisher struct {
	// Less and Greater are the chances of a first cell so small or smaller, and
	// so large or larger, with all sums of rows and columns as they are.
	Less, Greater float64

	// TwoSided is the chance of a table no more likely than this one.
	TwoSided float64

	table Table
}

// OddsRatio is the conditional maximum likelihood estimate of the odds ratio,
// which is not the product of the diagonals' ratio. There is none where it
// would be infinite or where the sums leave only one table. It is looked for
// when it is asked for: it costs far more than the test.
func (f Fisher) OddsRatio() (ratio float64, ok bool) { return newDraws(f.table).oddsRatio() }

// equallyLikely is how much more likely than the observed table another may
// come out and still count as no more likely: equal chances differ in their
// last digits.
const equallyLikely = 1e-7

// FisherExact tests whether the rows of a table differ, however small the
// counts are. It costs some spreads' worth of steps, not one for each table
// there could be: the chances are added from the observed table outwards until
// they no longer count, and from the table on the other side that is no more
// likely.
func FisherExact(t Table) (Fisher, error) {
	if err := t.check(); err != nil {
		return Fisher{}, fmt.Errorf("exact test: %w", err)
	}
	f, d := Fisher{table: t}, newDrawing(t)
	seen := float64(t[0][0])
	left := seen <= d.top()
	p := d.chance(seen)
	near := d.outward(seen, p, left)
	far := d.across(seen, p, left)
	if f.Less, f.Greater = near, 1-near+p; !left {
		f.Less, f.Greater = f.Greater, f.Less
	}
	f.Less, f.Greater, f.TwoSided = min(f.Less, 1), min(f.Greater, 1), min(near+far, 1)
	return f, nil
}

// drawing is how often so many of a row fall into a column, with all sums as
// they are: the hypergeometric distribution.
type drawing struct {
	row, column, other, least, most float64

	rate        float64 // of the column among all
	log, square float64 // of the chance that the column is what it is
}

func newDrawing(t Table) drawing {
	d := drawing{row: float64(t[0][0] + t[0][1]), other: float64(t[1][0] + t[1][1]), column: float64(t[0][0] + t[1][0])}
	d.least, d.most = max(0, d.column-d.other), min(d.row, d.column)
	all := d.row + d.other
	if d.rate = d.column / all; d.rate > 0 && d.rate < 1 {
		d.log, d.square = binomial(d.column, all, d.rate)
	}
	return d
}

// top is the likeliest count.
func (d *drawing) top() float64 {
	return math.Floor((d.row + 1) * (d.column + 1) / (d.row + d.other + 2))
}

// up is how many times as likely k+1 is as k.
func (d *drawing) up(k float64) float64 {
	return (d.row - k) * (d.column - k) / ((k + 1) * (d.other - d.column + k + 1))
}

// down is how many times as likely k-1 is as k.
func (d *drawing) down(k float64) float64 {
	return k * (d.other - d.column + k) / ((d.row - k + 1) * (d.column - k + 1))
}

// next is the factor from k to its neighbour on a side.
func (d *drawing) next(k float64, left bool) float64 {
	if left {
		return d.down(k)
	}
	return d.up(k)
}

// outward adds the chances from k, which has the chance p, to the end on a side. Steps
// cost what their divisions do, so two are taken with one.
func (d *drawing) outward(k, p float64, left bool) (sum float64) {
	const negligible = 1e-17
	sum = p
	step, end := 1.0, d.most
	// A step multiplies by a*b and divides by c*e, and at the next a and b are one
	// less, c and e one more.
	a, b, c, e := d.row-k, d.column-k, k+1, d.other-d.column+k+1
	if left {
		step, end = -1, d.least
		a, b, c, e = k, d.other-d.column+k, d.row-k+1, d.column-k+1
	}
	for steps := (end - k) * step; steps > 1; steps -= 2 {
		down, nextUp, nextDown := c*e, (a-1)*(b-1), (c+1)*(e+1)
		part := a * b / (down * nextDown)
		first := p * (part * nextDown)
		if first <= negligible*sum {
			return sum
		}
		p *= part * nextUp
		sum += first + p
		a, b, c, e = a-2, b-2, c+2, e+2
	}
	return sum + p*a*b/(c*e) // the last one, or nothing at the end
}

// across adds the chances, on the other side of the top, of the counts that are
// no more likely than the seen one with its chance p. It begins to look where
// they are if both sides are alike.
func (d *drawing) across(seen, p float64, left bool) float64 {
	if p == 0 {
		return 0
	}
	end, out := d.most, 1.0
	if !left {
		end, out = d.least, -1
	}
	beyond := func(k float64) bool { return (k-end)*out > 0 }
	k := 2*d.top() - seen
	if beyond(k) {
		k = end
	}
	if (k-seen)*out <= 0 {
		k = seen + out
	}
	if beyond(k) {
		return 0
	}
	bar, at := p*(1+equallyLikely), d.chance(k)
	for at > bar { // too near the top
		if k == end {
			return 0
		}
		at *= d.next(k, !left)
		k += out
	}
	for (k-out-seen)*out > 0 { // or further out than need be
		inner := at / d.next(k-out, !left)
		if inner > bar {
			break
		}
		at, k = inner, k-out
	}
	return d.outward(k, at, !left)
}

// chance is that of k, by three binomial chances of one rate, whose common
// factors cancel. Source: C. Loader, Fast and accurate computation of binomial
// probabilities, 2000 (from memory): logarithms of factorials lose the digits
// that this keeps.
func (d *drawing) chance(k float64) float64 {
	if d.rate == 0 || d.rate == 1 {
		return 1
	}
	a, fa := binomial(k, d.row, d.rate)
	b, fb := binomial(d.column-k, d.other, d.rate)
	return math.Exp(a+b-d.log) * math.Sqrt(fa*fb/d.square)
}

// binomial is the chance of x in n at a rate, as the logarithm of one factor and
// the square of the other.
func binomial(x, n, rate float64) (log, square float64) {
	switch {
	case x == 0 && n == 0:
		return 0, 1
	case x == 0:
		return n * math.Log1p(-rate), 1
	case x == n:
		return n * math.Log(rate), 1
	}
	log = stirling(n) - stirling(x) - stirling(n-x) - apart(x, n*rate) - apart(n-x, n*(1-rate))
	return log, n / (2 * math.Pi * x * (n - x))
}

// apart is x ln(x/m) + m - x, with its digits where x is near m.
func apart(x, m float64) float64 {
	if math.Abs(x-m) >= 0.1*(x+m) {
		return x*math.Log(x/m) + m - x
	}
	v := (x - m) / (x + m)
	sum, term := (x-m)*v, 2*x*v
	for j := 3.0; ; j += 2 {
		term *= v * v
		more := sum + term/j
		if more == sum {
			return sum
		}
		sum = more
	}
}

// stirling is the logarithm of n! less that of Stirling's approximation.
func stirling(n float64) float64 {
	if n < float64(len(stirlings)) {
		return stirlings[int(n)]
	}
	return logTail(1 / n)
}

var stirlings = func() (t [16]float64) {
	for n := 1; n < len(t); n++ {
		x := float64(n)
		log, _ := math.Lgamma(x + 1)
		t[n] = log - ((x+0.5)*math.Log(x) - x + math.Log(2*math.Pi)/2)
	}
	return t
}()

// draws are the tables with the same sums, by their first cell, from the
// smallest it can be.
type draws struct {
	logs []float64 // of their chances, but for a constant
	seen int       // which of them is the observed one
}

func newDraws(t Table) draws {
	row, other, column := t[0][0]+t[0][1], t[1][0]+t[1][1], t[0][0]+t[1][0]
	least, most := max(0, column-other), min(row, column)
	d := draws{logs: make([]float64, 1, most-least+1), seen: t[0][0] - least}
	for k := least; k < most; k++ {
		up := float64(row-k) * float64(column-k)
		down := float64(k+1) * float64(other-column+k+1)
		d.logs = append(d.logs, d.logs[k-least]+math.Log(up/down))
	}
	return d
}

// tilted gives the chances of the tables were the logarithm of the odds ratio
// not 0 but theta.
func (d draws) tilted(theta float64) []float64 {
	highest := math.Inf(-1)
	for i, l := range d.logs {
		highest = max(highest, l+theta*float64(i))
	}
	chances, all := make([]float64, len(d.logs)), 0.0
	for i, l := range d.logs {
		chances[i] = math.Exp(l + theta*float64(i) - highest)
		all += chances[i]
	}
	for i := range chances {
		chances[i] /= all
	}
	return chances
}

// oddsRatio finds the odds ratio at which the observed table is what is to be
// expected.
func (d draws) oddsRatio() (ratio float64, ok bool) {
	switch d.seen {
	case len(d.logs) - 1:
		return 0, false
	case 0:
		return 0, true
	}
	low, high := -1.0, 1.0
	for d.expected(low) > float64(d.seen) {
		low *= 2
	}
	for d.expected(high) < float64(d.seen) {
		high *= 2
	}
	for high-low > 1e-12*max(1, high, -low) {
		middle := (low + high) / 2
		if d.expected(middle) < float64(d.seen) {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Exp((low + high) / 2), true
}

func (d draws) expected(theta float64) float64 {
	sum := 0.0
	for i, p := range d.tilted(theta) {
		sum += float64(i) * p
	}
	return sum
}
