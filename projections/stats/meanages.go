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

// MeanAges is MeanCumulative where the errors are wanted at few ages only, from counts
// and with no set taken by itself.
//
// The robust variance at an age t is the sum over all sets of (own - shared)^2, where
// own is the sum of w = 1/r over a set's repairs up to t, and shared is S, the sum of
// d/r^2 over all repairs, up to t or the set's end, whichever is first: the formula of
// Lawless and Nadeau with its sums over a set's ages taken apart. Multiplied out, each
// part is a sum over what many sets have in common:
//
//	own^2        is the sum of d*w^2 over all ages to t, and twice that of w*w over
//	             the pairs of repairs that one set had: AddPairs
//	own*shared   is S(t) times the mean at t, where sets that end before t have S(end)
//	             in place of S(t): AddEnded of those
//	shared^2     hangs on the end alone
//
// Where the sets are much alike, what is left of those is small beside them, so they
// are carried in pairs of floats: 30 digits for the some 16 that are told.
type MeanAges struct {
	at             []int
	ended, repairs []int     // sets that end at an age, and repairs at it
	mean           []float64 // of d/r up to an age
	share, shared  []float64 // 1/r at an age and d/r^2 up to it, to the last of those wanted
	steps          []MeanStep
	atRisk         []int   // at the ages wanted, as the next
	early          []early // from the one before on
}

// early is what was added for sets that end before an age, and for pairs up to it.
type early struct {
	own       pairSum // sum of w
	ownShared pairSum // of w*S(end)
	pairs     pairSum // of w*w
}

// AgeCount is so many repairs at an age.
type AgeCount struct{ Age, N int32 }

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
	for age := last + 1; age < len(repairs); age++ {
		if repairs[age] > 0 {
			return nil, fmt.Errorf("mean number of repairs: %d at age %d, and no set was watched after %d", repairs[age], age, last)
		}
	}
	for len(at) > 0 && at[len(at)-1] > last {
		at = at[:len(at)-1]
	}
	wanted := 0
	if len(at) > 0 {
		wanted = max(0, at[len(at)-1]+1)
	}
	n := last + 1
	floats := make([]float64, n+2*wanted)
	m := &MeanAges{at: at, ended: ended[:n], repairs: repairs[:min(n, len(repairs))],
		mean: floats[:n], share: floats[n : n+wanted], shared: floats[n+wanted:],
		steps: make([]MeanStep, len(at)), atRisk: make([]int, len(at)), early: make([]early, len(at))}
	m.walk()
	return m, nil
}

// walk goes through the ages.
func (m *MeanAges) walk() {
	r := 0
	for _, n := range m.ended {
		r += n
	}
	var step MeanStep
	shared, next := 0.0, 0
	for next < len(m.at) && m.at[next] < 0 {
		next++ // nothing was before the start
	}
	for age := range m.mean {
		d, share := m.repairsAt(age), 0.0
		if d > 0 {
			share = 1 / float64(r)
			shared += float64(d) * share * share
			step = MeanStep{Age: age, AtRisk: r, Repairs: d, Mean: step.Mean + float64(d)*share}
		}
		m.mean[age] = step.Mean
		if age < len(m.share) {
			m.share[age], m.shared[age] = share, shared
		}
		for ; next < len(m.at) && m.at[next] == age; next++ {
			step.PoissonSE = math.Sqrt(shared)
			m.steps[next], m.atRisk[next] = step, r
		}
		r -= m.ended[age]
	}
}

// repairsAt is how many repairs there were at an age.
func (m *MeanAges) repairsAt(age int) int {
	if age < len(m.repairs) {
		return m.repairs[age]
	}
	return 0
}

// AddEnded takes in the repairs of sets that end at an age before the last of those
// wanted, in any order; those of sets that end later may come too.
func (m *MeanAges) AddEnded(end int, repairs []AgeCount) error {
	own, err := m.shares(end, repairs)
	if err != nil {
		return fmt.Errorf("repairs of sets that end at %d: %w", end, err)
	}
	if i := m.firstAt(end + 1); i < len(m.early) {
		e := &m.early[i]
		e.own = e.own.plusTimes(1, own)
		e.ownShared = e.ownShared.plusTimes(m.shared[end], own)
	}
	return nil
}

// AddPairs takes in repairs whose set had another one later, at an age up to the last of
// those wanted, each as often as it had one then, in any order; others may come too. Two
// repairs at one age are a pair as well.
func (m *MeanAges) AddPairs(later int, earlier []AgeCount) error {
	own, err := m.shares(later, earlier)
	if err != nil {
		return fmt.Errorf("repairs before another at %d: %w", later, err)
	}
	if i := m.firstAt(later); i < len(m.early) {
		m.early[i].pairs = m.early[i].pairs.plusTimes(m.share[later], own)
	}
	return nil
}

// shares sums what repairs up to an age count for, as far as their ages are wanted. It
// sums in two halves, since each addition waits for the one before it.
func (m *MeanAges) shares(later int, repairs []AgeCount) (pairSum, error) {
	if later < 0 || later >= len(m.mean) {
		return pairSum{}, fmt.Errorf("the last set ends at %d", len(m.mean)-1)
	}
	var sum, other pairSum
	for _, a := range repairs {
		if uint32(a.Age) > uint32(later) || a.N < 1 {
			return pairSum{}, fmt.Errorf("%d at age %d", a.N, a.Age)
		}
		if int(a.Age) >= len(m.share) {
			continue
		}
		sum, other = other, sum
		if share := m.share[a.Age]; a.N == 1 {
			sum = sum.plus(share)
		} else {
			sum = sum.plusProduct(float64(a.N), share)
		}
	}
	return sum.plusTimes(1, other), nil
}

// firstAt is which of the ages wanted is the first that is not below an age.
func (m *MeanAges) firstAt(age int) int {
	i := 0
	for i < len(m.at) && m.at[i] < age {
		i++
	}
	return i
}

// Line is the mean at every age. It does not hang on the sets.
func (m *MeanAges) Line() MeanLine { return MeanLine{m.mean} }

// Steps gives a step for each age wanted, as MeanCurve.At would, when what is asked for
// was added.
func (m *MeanAges) Steps() []MeanStep {
	steps := slices.Clone(m.steps)
	var sums ageSums
	next, ended := 0, 0
	for i, t := range m.at {
		for ; next <= t; next++ {
			sums.repaired(float64(m.repairsAt(next)), m.share[next])
		}
		for ; ended < t; ended++ {
			sums.shared2 = sums.shared2.plusTimes(float64(m.ended[ended]), square(m.shared[ended]))
		}
		sums.early.add(m.early[i])
		if steps[i].Mean > 0 {
			// What rounding leaves of nothing may be less than nothing.
			steps[i].RobustSE = math.Sqrt(max(0, sums.variance(m.shared[t], float64(m.atRisk[i]))))
		}
	}
	return steps
}

// ageSums are the parts of the variances up to an age.
type ageSums struct {
	mean    pairSum // of d*w
	own2    pairSum // of d*w^2
	shared2 pairSum // of S(end)^2 of the sets that end before the age
	early   early
}

func (s *ageSums) repaired(d, share float64) {
	if d > 0 {
		s.mean, s.own2 = s.mean.plusProduct(d, share), s.own2.plusTimes(d, square(share))
	}
}

func (e *early) add(o early) {
	e.own, e.ownShared, e.pairs = e.own.plusTimes(1, o.own), e.ownShared.plusTimes(1, o.ownShared), e.pairs.plusTimes(1, o.pairs)
}

// variance puts the parts together at an age up to which so many sets were watched.
func (s *ageSums) variance(shared, atRisk float64) float64 {
	later := s.mean.plusTimes(-1, s.early.own) // of w, of those sets
	v := s.own2.plusTimes(2, s.early.pairs)
	v = v.plusTimes(-2*shared, later).plusTimes(-2, s.early.ownShared)
	return v.plusTimes(1, s.shared2).plusTimes(atRisk, square(shared)).float()
}
