package stats

import (
	"fmt"
	"math"
	"slices"
)

// Repaired is sets that were repaired, for MeanAtAges: all numbers of many sets in
// few pieces of memory. The zero value has none.
type Repaired struct {
	sets []repaired
	ages []int32 // of all repairs, those of a set together
}

// repaired is some sets with the same repairs.
type repaired struct{ end, alike, repairs int32 }

// Grow makes room for so many repairs of as many sets.
func (r *Repaired) Grow(repairs int) {
	r.sets, r.ages = slices.Grow(r.sets, repairs), slices.Grow(r.ages, repairs)
}

// Add adds so many sets that are alike: watched to an age, with repairs at ages in
// rising order, at least one. It keeps no memory of the ages.
func (r *Repaired) Add(end, alike int, ages []int32) error {
	if end < 0 || end > math.MaxInt32 || alike < 1 || alike > math.MaxInt32 || len(ages) == 0 {
		return fmt.Errorf("%d sets that end at age %d with %d repairs: there must be some of each, and a number of days from zero", alike, end, len(ages))
	}
	last := int32(0)
	for _, a := range ages {
		if a < last || int(a) > end {
			return fmt.Errorf("repair at age %d of a set watched from 0 to %d, behind one at %d: must be in order", a, end, last)
		}
		last = a
	}
	r.ages = append(r.ages, ages...)
	r.sets = append(r.sets, repaired{int32(end), int32(alike), int32(len(ages))})
	return nil
}

// MeanLine is how many repairs a set has had on average by each age, without the
// errors, which MeanAtAges gives for some ages only.
type MeanLine struct {
	mean []float64 // by age
}

// At is the mean at an age, and a PastLastError after the age the last set ends at.
func (l MeanLine) At(age int) (float64, error) {
	switch {
	case age >= len(l.mean):
		return 0, &PastLastError{Asked: age, Last: len(l.mean) - 1}
	case age < 0:
		return 0, nil
	}
	return l.mean[age], nil
}

// Len is how many ages the line has, from age 0 to the one the last set ends at.
func (l MeanLine) Len() int { return len(l.mean) }

// MeanAtAges is MeanCumulative where the errors are wanted at few ages, in rising
// order, and most sets had no repair: of those it takes how many ended at each age.
// It gives a step for each of the ages, up to the last that a set was watched to, as
// MeanCurve.At would.
//
// The robust variance at an age t is the sum over all sets of (own - shared)^2, where
// own is the sum of 1/r over a set's repairs up to t, and shared that of d/r^2 over
// all repairs up to t or the set's end, whichever is first: the formula of Lawless
// and Nadeau with its sums over a set's ages taken apart. For a set without a repair
// it is shared^2 at its end, which those that end together have in common. So what it
// costs grows with the days, and with the sets that were repaired: to square a set's
// own sum its repairs must be together.
func MeanAtAges(unrepaired []int, r Repaired, ages []int) (MeanLine, []MeanStep, error) {
	w, err := newMeanAges(unrepaired, r)
	if err != nil {
		return MeanLine{}, nil, fmt.Errorf("mean number of repairs: %w", err)
	}
	for len(ages) > 0 && ages[len(ages)-1] >= len(w.atRisk) {
		ages = ages[:len(ages)-1]
	}
	steps := make([]MeanStep, len(ages))
	variance := w.variances(unrepaired, r, ages)
	for i, age := range ages {
		at := w.stepAt(age)
		if steps[i] = at; at.Mean > 0 {
			steps[i].RobustSE = math.Sqrt(variance[i])
		}
	}
	return MeanLine{w.mean}, steps, nil
}

// meanAges are sums by age, up to the last at which a set was watched.
type meanAges struct {
	atRisk, repairs []int
	share           []float64 // 1/r
	mean, shared    []float64 // of d/r and of d/r^2, up to the age
}

func newMeanAges(unrepaired []int, r Repaired) (*meanAges, error) {
	last := -1
	for age, n := range unrepaired {
		if n < 0 {
			return nil, fmt.Errorf("%d sets that end at age %d: must not be below zero", n, age)
		}
		if n > 0 {
			last = age
		}
	}
	for _, s := range r.sets {
		last = max(last, int(s.end))
	}
	if last < 0 {
		return nil, ErrNoCases
	}
	n := last + 1
	w := &meanAges{atRisk: make([]int, n), repairs: make([]int, n), share: make([]float64, n), mean: make([]float64, n), shared: make([]float64, n)}
	copy(w.atRisk, unrepaired) // how many end there, at first
	ages := r.ages
	for _, s := range r.sets {
		w.atRisk[s.end] += int(s.alike)
		for _, a := range ages[:s.repairs] {
			w.repairs[a] += int(s.alike)
		}
		ages = ages[s.repairs:]
	}
	for age := last - 1; age >= 0; age-- {
		w.atRisk[age] += w.atRisk[age+1]
	}
	mean, shared := 0.0, 0.0
	for age := range n {
		if d := float64(w.repairs[age]); d > 0 {
			share := 1 / float64(w.atRisk[age])
			w.share[age] = share
			mean += d * share
			shared += d * share * share
		}
		w.mean[age], w.shared[age] = mean, shared
	}
	return w, nil
}

// stepAt is the last step at or before an age, without its robust error.
func (w *meanAges) stepAt(age int) MeanStep {
	for age >= 0 && w.repairs[age] == 0 {
		age--
	}
	if age < 0 {
		return MeanStep{}
	}
	return MeanStep{Age: age, AtRisk: w.atRisk[age], Repairs: w.repairs[age], Mean: w.mean[age], PoissonSE: math.Sqrt(w.shared[age])}
}

// variances are the robust ones at ages, all of which some set was watched to.
func (w *meanAges) variances(unrepaired []int, r Repaired, at []int) []float64 {
	sums := make([]float64, len(at))
	whole, places := 0.0, 0 // of those that end before an age
	for i, t := range at {
		for ; places < min(t, len(unrepaired), len(w.shared)); places++ {
			whole += float64(unrepaired[places]) * w.shared[places] * w.shared[places]
		}
		later := 0
		for _, n := range unrepaired[min(places, len(unrepaired)):] {
			later += n
		}
		sums[i] = whole + float64(later)*w.shared[t]*w.shared[t]
	}
	repairs := r.ages
	for _, s := range r.sets {
		ages := repairs[:s.repairs]
		repairs = repairs[s.repairs:]
		own, alike := 0.0, float64(s.alike)
		for i, t := range at {
			for len(ages) > 0 && int(ages[0]) <= t {
				own += w.share[ages[0]]
				ages = ages[1:]
			}
			part := own - w.shared[min(int(s.end), t)]
			sums[i] += alike * part * part
		}
	}
	return sums
}
