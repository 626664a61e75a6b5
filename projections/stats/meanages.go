package stats

import (
	"fmt"
	"math"
	"slices"
)

// MeanLine is how many repairs a set has had on average by each age, without the
// errors, which MeanAges gives for some ages only.
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

// MeanAges is MeanCumulative where the errors are wanted at few ages only, and it is
// known how many sets ended and how many repairs there were at each age. Then the sets
// that were repaired are taken in one by one, with no memory of them, and the others
// need not be.
//
// The robust variance at an age t is the sum over all sets of (own - shared)^2, where
// own is the sum of 1/r over a set's repairs up to t, and shared that of d/r^2 over
// all repairs up to t or the set's end, whichever is first: the formula of Lawless
// and Nadeau with its sums over a set's ages taken apart. For a set without a repair
// it is shared^2, which those that end together have in common. To square a set's own
// sum its repairs must be together.
type MeanAges struct {
	at              []int
	quiet           []int     // sets that ended at each age and were not added
	atRisk, repairs []int     // by age, as the next
	share           []float64 // 1/r
	mean, shared    []float64 // of d/r and of d/r^2, up to the age
	variance        []float64 // of each of the ages wanted, of the sets that were added
	left            int       // repairs of sets that are still to come
}

// NewMeanAges begins with how many sets ended at each age and how many repairs all of
// them had at each age. The ages wanted are in rising order; those after which no set
// was watched are left out.
func NewMeanAges(ended, repairs, at []int) (*MeanAges, error) {
	last := -1
	for _, list := range [][]int{ended, repairs} {
		for age, n := range list {
			if n < 0 {
				return nil, fmt.Errorf("mean number of repairs: %d at age %d: must not be below zero", n, age)
			}
		}
	}
	for age, n := range ended {
		if n > 0 {
			last = age
		}
	}
	if last < 0 {
		return nil, fmt.Errorf("mean number of repairs: %w", ErrNoCases)
	}
	n := last + 1
	m := &MeanAges{at: at, quiet: slices.Clone(ended[:n]), atRisk: make([]int, n), repairs: make([]int, n), share: make([]float64, n), mean: make([]float64, n), shared: make([]float64, n)}
	for len(m.at) > 0 && m.at[len(m.at)-1] > last {
		m.at = m.at[:len(m.at)-1]
	}
	copy(m.repairs, repairs)
	for age, d := range repairs {
		if m.left += d; d > 0 && age > last {
			return nil, fmt.Errorf("mean number of repairs: %d at age %d, and no set was watched after %d", d, age, last)
		}
	}
	m.variance = make([]float64, len(m.at))
	m.walk(ended[:n])
	return m, nil
}

// walk goes through the ages.
func (m *MeanAges) walk(ended []int) {
	for age, r := len(ended)-1, 0; age >= 0; age-- {
		r += ended[age]
		m.atRisk[age] = r
	}
	mean, shared := 0.0, 0.0
	for age, d := range m.repairs {
		if d > 0 {
			share := 1 / float64(m.atRisk[age])
			m.share[age] = share
			mean += float64(d) * share
			shared += float64(d) * share * share
		}
		m.mean[age], m.shared[age] = mean, shared
	}
}

// quietly are the parts that sets without a repair have in the variances.
func (m *MeanAges) quietly() []float64 {
	sums := make([]float64, len(m.at))
	whole, age := 0.0, 0 // of those that end before an age
	for i, t := range m.at {
		for ; age < t; age++ {
			whole += float64(m.quiet[age]) * m.shared[age] * m.shared[age]
		}
		later := 0
		for _, n := range m.quiet[t:] {
			later += n
		}
		sums[i] = whole + float64(later)*m.shared[t]*m.shared[t]
	}
	return sums
}

// Add takes in so many sets that are alike: watched to an age, with repairs at ages in
// rising order. It keeps no memory of the ages.
func (m *MeanAges) Add(end, alike int, ages []int32) error {
	if end < 0 || end >= len(m.share) || alike < 1 {
		return fmt.Errorf("%d sets that end at age %d, of sets that end at %d at most", alike, end, len(m.share)-1)
	}
	last := int32(0)
	for _, a := range ages {
		if a < last || int(a) > end {
			return fmt.Errorf("repair at age %d of a set watched from 0 to %d, behind one at %d: must be in order", a, end, last)
		}
		last = a
	}
	if m.left, m.quiet[end] = m.left-alike*len(ages), m.quiet[end]-alike; m.quiet[end] < 0 {
		return fmt.Errorf("%d sets more end at age %d than there are", -m.quiet[end], end)
	}
	own, n := 0.0, float64(alike)
	for i, t := range m.at {
		for len(ages) > 0 && int(ages[0]) <= t {
			own += m.share[ages[0]]
			ages = ages[1:]
		}
		part := own - m.shared[min(end, t)]
		m.variance[i] += n * part * part
	}
	return nil
}

// Line is the mean at every age. It does not hang on the sets.
func (m *MeanAges) Line() MeanLine { return MeanLine{m.mean} }

// Steps gives a step for each age wanted, as MeanCurve.At would, when all sets with
// repairs were added.
func (m *MeanAges) Steps() ([]MeanStep, error) {
	if m.left != 0 {
		return nil, fmt.Errorf("mean number of repairs: of the sets that were added there are %d repairs less than of all", m.left)
	}
	steps, quiet := make([]MeanStep, len(m.at)), m.quietly()
	for i, age := range m.at {
		if steps[i] = m.stepAt(age); steps[i].Mean > 0 {
			steps[i].RobustSE = math.Sqrt(m.variance[i] + quiet[i])
		}
	}
	return steps, nil
}

// stepAt is the last step at or before an age, without its robust error.
func (m *MeanAges) stepAt(age int) MeanStep {
	for age >= 0 && m.repairs[age] == 0 {
		age--
	}
	if age < 0 {
		return MeanStep{}
	}
	return MeanStep{Age: age, AtRisk: m.atRisk[age], Repairs: m.repairs[age], Mean: m.mean[age], PoissonSE: math.Sqrt(m.shared[age])}
}
