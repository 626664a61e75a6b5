package stats

import (
	"fmt"
	"math"
	"sort"
)

// fewestRepairs is how many repairs of one set a trend can be read from. With
// three there are six orders of the gaps, and none of them is rare.
const fewestRepairs = 4

// Verdict says what a trend test found.
type Verdict int

const (
	NoTrend   Verdict = iota // nothing that chance would not do
	Improving                // the repairs come further and further apart
	Degrading                // the repairs come closer and closer together
)

func (v Verdict) String() string {
	switch v {
	case Improving:
		return "improving"
	case Degrading:
		return "degrading"
	}
	return "no trend"
}

// Tails are the chances that a set without a trend looks at least so much as if
// it were improving, and at least so much as if it were degrading.
type Tails struct{ Improving, Degrading float64 }

// TwoSided is the chance of a result at least so far from no trend, either way.
func (t Tails) TwoSided() float64 { return min(1, 2*min(t.Improving, t.Degrading)) }

// Verdict judges at a two-sided share of false alarms, such as 0.05.
func (t Tails) Verdict(alpha float64) Verdict {
	switch {
	case t.TwoSided() > alpha:
		return NoTrend
	case t.Improving < t.Degrading:
		return Improving
	}
	return Degrading
}

// checkRepairs refuses times that are not ages of repairs in order.
func checkRepairs(times []float64) error {
	if len(times) < fewestRepairs {
		return &TooFewError{What: "repairs", Have: len(times), Need: fewestRepairs}
	}
	before := 0.0
	for i, t := range times {
		if !(t >= before) || math.IsInf(t, 1) {
			return fmt.Errorf("repair %d at %v after %v: times must not go back", i+1, t, before)
		}
		before = t
	}
	return nil
}

// Reversals is the outcome of the reverse arrangement test: R of the pairs of
// gaps between repairs have the longer gap later.
type Reversals struct {
	R, Max int
	Mean   float64 // of R, without a trend

	// Z is by the engineering handbook's formula, whose half is added whichever
	// way R lies; it is for comparing with the handbook. The tails below take
	// the half towards the mean, which comes out nearer to the exact chance.
	Z     float64
	Exact bool // the tails were counted and not approximated
	Tails
}

// mostCounted is up to how many repairs the chances of R are counted exactly.
const mostCounted = 12

// ReverseArrangements tests the times of one set's repairs, counted from when
// it was new to the watcher, for gaps that grow or shrink. Two equal gaps do
// not make a reversal. Where many are equal, as with gaps in whole days, R is
// lower than chance would have it, and the test leans to degrading.
func ReverseArrangements(times []float64) (Reversals, error) {
	if err := checkRepairs(times); err != nil {
		return Reversals{}, fmt.Errorf("reverse arrangements: %w", err)
	}
	r := len(times)
	v := Reversals{R: countReversals(times), Max: r * (r - 1) / 2, Exact: r <= mostCounted}
	var sd float64
	v.Mean, sd = reversalMoments(r)
	v.Z = (float64(v.R) - v.Mean + 0.5) / sd
	v.Improving = reversalsFrom(r)(v.R)
	v.Degrading = reversalsFrom(r)(v.Max - v.R) // R and its mirror are equally likely
	return v, nil
}

func countReversals(times []float64) int {
	gaps, before := make([]float64, len(times)), 0.0
	for i, t := range times {
		gaps[i], before = t-before, t
	}
	n := 0
	for i, early := range gaps {
		for _, late := range gaps[i+1:] {
			if early < late {
				n++
			}
		}
	}
	return n
}

func reversalMoments(r int) (mean, sd float64) {
	n := float64(r)
	return n * (n - 1) / 4, math.Sqrt((2*n + 5) * (n - 1) * n / 72)
}

// reversalsFrom gives the chance of a number of reversals or more of r gaps in
// any order.
func reversalsFrom(r int) func(least int) float64 {
	if r > mostCounted {
		mean, sd := reversalMoments(r)
		return func(least int) float64 { return normalAbove((float64(least) - 0.5 - mean) / sd) }
	}
	orders := reversalOrders(r)
	return func(least int) float64 {
		some, all := 0.0, 0.0
		for n, count := range orders {
			all += count
			if n >= least {
				some += count
			}
		}
		return some / all
	}
}

// reversalOrders counts the orders of r gaps by their number of reversals. The
// k-th gap, put in among k-1, makes 0 to k-1 new ones.
func reversalOrders(r int) []float64 {
	orders := []float64{1}
	for k := 2; k <= r; k++ {
		more := make([]float64, len(orders)+k-1)
		for n, count := range orders {
			for added := range k {
				more[n+added] += count
			}
		}
		orders = more
	}
	return orders
}

// CriticalReversals gives the fewest reversals of r gaps that are rare by
// alpha, on one side, without a trend; not ok where even all of them are not.
// Max less that number is the critical value for degrading.
func CriticalReversals(r int, alpha float64) (least int, ok bool) {
	if r < 1 {
		return 0, false
	}
	most, chance := r*(r-1)/2, reversalsFrom(r)
	least = sort.Search(most+1, func(n int) bool { return chance(n) <= alpha })
	return least, least <= most
}
