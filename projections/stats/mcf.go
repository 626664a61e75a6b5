package stats

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
)

// Watched is one set's repairs, by its age in days at each, and its age when it
// was last known of. Several repairs at one age count several times.
type Watched struct {
	Repairs []int
	End     int
	Alike   int // how many sets are just so; zero counts as one
}

// Sets is how many sets are told of.
func (s Watched) Sets() int { return max(1, s.Alike) }

// MeanStep is where the mean number of repairs of a set stands from an age on.
type MeanStep struct {
	Age     int
	AtRisk  int // sets watched up to this age at least, those that end at it included
	Repairs int // at this age
	Mean    float64

	// RobustSE is by Lawless and Nadeau: from how the sets really differ, so
	// that it holds where some sets keep coming back. PoissonSE takes all
	// repairs as independent, and is too small then.
	RobustSE, PoissonSE float64
}

// Limits are the limits of the mean by its robust error, on the plain scale.
// The lower one may lie below zero while few repairs are in.
func (s MeanStep) Limits(level Level) Interval {
	half := level.z() * s.RobustSE
	return Interval{s.Mean - half, s.Mean + half}
}

// LogLimits are the limits of the mean by its robust error, on the scale of its
// logarithm: the lower one stays above zero. There are none before a repair.
func (s MeanStep) LogLimits(level Level) (Interval, bool) {
	if s.Mean == 0 {
		return Interval{}, false
	}
	stretch := math.Exp(level.z() * s.RobustSE / s.Mean)
	return Interval{s.Mean / stretch, s.Mean * stretch}, true
}

// MeanCurve is the mean cumulative function: how many repairs a set has had on
// average by an age, from sets watched for different lengths of time.
type MeanCurve struct {
	steps []MeanStep // ages with a repair
	last  int        // the age at which the last set ends
}

// MeanCumulative makes the mean cumulative function of sets. A repair at the
// age at which a set ends, its own or another's, finds the set still at risk:
// at an age, repairs come before endings.
func MeanCumulative(sets []Watched) (MeanCurve, error) {
	if len(sets) == 0 {
		return MeanCurve{}, fmt.Errorf("mean number of repairs: %w", ErrNoCases)
	}
	for i, s := range sets {
		if err := s.check(); err != nil {
			return MeanCurve{}, fmt.Errorf("mean number of repairs: set %d: %w", i+1, err)
		}
	}
	w := newMeanWalk(sets)
	c := MeanCurve{last: sets[w.ends[len(w.ends)-1]].End}
	for len(w.repairs) > 0 {
		c.steps = append(c.steps, w.step())
	}
	return c, nil
}

func (s Watched) check() error {
	if s.End < 0 || s.End > math.MaxInt32 {
		return fmt.Errorf("it ends at age %d: must be a number of days from zero", s.End)
	}
	if s.Alike < 0 {
		return fmt.Errorf("%d sets alike: must not be below zero", s.Alike)
	}
	for _, age := range s.Repairs {
		if age < 0 || age > s.End {
			return fmt.Errorf("repair at age %d of a set watched from 0 to %d", age, s.End)
		}
	}
	return nil
}

// repairOf is an age with the place of the set in the list behind it, so that
// repairs sort by age as plain numbers.
type repairOf uint64

func (r repairOf) age() int { return int(r >> 32) }
func (r repairOf) set() int { return int(uint32(r)) }

// meanWalk goes through the ages with a repair. A set's part in the robust
// variance is (own - shared)^2: own is the sum of 1/r over its repairs, shared
// that of d/r^2 over all ages it was watched at. For the sets still at risk only
// the sums of own and of its square are kept, so that an age costs as much as
// its repairs and endings and not as much as there are sets.
type meanWalk struct {
	sets    []Watched
	repairs []repairOf // still to come, by age
	ends    []int      // sets by the age they end at; the first gone of them have ended
	gone    int
	atRisk  int // sets, with all that are alike

	own          []float64 // of each of those alike
	sum, squares float64   // of own, over the sets at risk
	ended        float64   // parts of the sets that have ended
	shared       float64   // which is the Poisson variance too
	mean         float64
}

func newMeanWalk(sets []Watched) *meanWalk {
	w := &meanWalk{sets: sets, own: make([]float64, len(sets)), ends: make([]int, len(sets))}
	for i, s := range sets {
		w.ends[i] = i
		w.atRisk += s.Sets()
		for _, age := range s.Repairs {
			w.repairs = append(w.repairs, repairOf(age)<<32|repairOf(i))
		}
	}
	slices.SortFunc(w.ends, func(a, b int) int { return cmp.Compare(sets[a].End, sets[b].End) })
	slices.Sort(w.repairs)
	return w
}

// step takes in all repairs of the next age.
func (w *meanWalk) step() MeanStep {
	age := w.repairs[0].age()
	w.endBefore(age)
	s := MeanStep{Age: age, AtRisk: w.atRisk}
	r := float64(s.AtRisk)
	for ; len(w.repairs) > 0 && w.repairs[0].age() == age; w.repairs = w.repairs[1:] {
		s.Repairs += w.repair(w.repairs[0].set(), 1/r)
	}
	d := float64(s.Repairs)
	w.mean += d / r
	w.shared += d / (r * r)
	atRisk := w.squares - 2*w.shared*w.sum + r*w.shared*w.shared
	s.Mean, s.PoissonSE = w.mean, math.Sqrt(w.shared)
	s.RobustSE = math.Sqrt(max(w.ended+atRisk, 0)) // rounding can leave less than nothing of two equal sums
	return s
}

func (w *meanWalk) endBefore(age int) {
	for ; w.gone < len(w.ends) && w.sets[w.ends[w.gone]].End < age; w.gone++ {
		i := w.ends[w.gone]
		own, alike := w.own[i], float64(w.sets[i].Sets())
		w.sum -= alike * own
		w.squares -= alike * own * own
		w.ended += alike * (own - w.shared) * (own - w.shared)
		w.atRisk -= w.sets[i].Sets()
	}
}

// repair adds a repair of a set, and of those alike, and says how many it is.
func (w *meanWalk) repair(set int, share float64) int {
	alike := float64(w.sets[set].Sets())
	before := w.own[set]
	after := before + share
	w.own[set] = after
	w.sum += alike * share
	w.squares += alike * (after*after - before*before)
	return w.sets[set].Sets()
}

// Steps are the ages with a repair. The slice is the caller's own.
func (c MeanCurve) Steps() []MeanStep { return slices.Clone(c.steps) }

// At gives the last step at or before an age: none, with a mean of 0, before
// the first repair, and a PastLastError after the age the last set ends at.
func (c MeanCurve) At(age int) (MeanStep, error) {
	if age > c.last {
		return MeanStep{}, &PastLastError{Asked: age, Last: c.last}
	}
	after := sort.Search(len(c.steps), func(i int) bool { return c.steps[i].Age > age })
	if after == 0 {
		return MeanStep{}, nil
	}
	return c.steps[after-1], nil
}
