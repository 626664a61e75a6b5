package stats

import (
	"fmt"
	"math"
)

// Sightings sums up how often each of many models was seen. It is what can be
// said from them of the models not seen yet.
type Sightings struct {
	N           int // sightings
	Seen        int // models seen at all
	Once, Twice int // models seen once, and twice
}

// SightingsOf sums up how often each model was seen. A model seen no times is
// not one that was seen.
func SightingsOf(times []int) (Sightings, error) {
	var s Sightings
	for i, n := range times {
		if n < 0 {
			return Sightings{}, fmt.Errorf("sightings of model %d: %d: must not be below zero", i+1, n)
		}
		s.N += n
		switch n {
		case 0:
			continue
		case 1:
			s.Once++
		case 2:
			s.Twice++
		}
		s.Seen++
	}
	if s.N == 0 {
		return Sightings{}, fmt.Errorf("sightings: %w", ErrNoCases)
	}
	return s, nil
}

// Coverage is the share that the models seen have of all sightings to come, by
// Good and Turing.
func (s Sightings) Coverage() float64 {
	if s.N == 0 {
		return 0
	}
	return 1 - float64(s.Once)/float64(s.N)
}

// Richness is an estimate of how many models there are to be seen. It is a
// lower bound, if sightings are at random: say "at least".
type Richness struct {
	Models, SE float64
	seen       float64
}

// Limits are log-normal limits of the number of models not seen, put on top of
// those seen. There are none where none are thought to be missing.
func (r Richness) Limits(level Level) (Interval, bool) {
	missing := r.Models - r.seen
	if !(missing > 0) {
		return Interval{}, false
	}
	stretch := math.Exp(level.z() * math.Sqrt(math.Log1p(r.SE*r.SE/(missing*missing))))
	return Interval{r.seen + missing/stretch, r.seen + missing*stretch}, true
}

// Chao1 is the classic estimate by Chao. Without a model seen twice it is not
// defined, and the corrected one stands in.
func (s Sightings) Chao1() Richness {
	if s.Twice == 0 {
		return s.Chao1Corrected()
	}
	n, seen, once, twice := s.floats()
	k, r := (n-1)/n, once/twice
	variance := twice * (k*r*r/2 + k*k*r*r*r + k*k*r*r*r*r/4)
	return Richness{Models: seen + k*once*once/(2*twice), SE: math.Sqrt(variance), seen: seen}
}

// Chao1Corrected is the estimate by Chao corrected for bias. Its error is by
// the delta method, with the models, seen and unseen, as cells that a model
// falls in by how often it was seen.
func (s Sightings) Chao1Corrected() Richness {
	_, seen, once, twice := s.floats()
	pairs := once * (once - 1) / 2
	models := seen + pairs/(twice+1)
	byOnce := 1 + (2*once-1)/(2*(twice+1))
	byTwice := 1 - pairs/((twice+1)*(twice+1))
	more := seen - once - twice
	first := once*byOnce + twice*byTwice + more
	second := once*byOnce*byOnce + twice*byTwice*byTwice + more
	if once == 0 || models == 0 {
		return Richness{Models: models, seen: seen}
	}
	return Richness{Models: models, SE: math.Sqrt(max(second-first*first/models, 0)), seen: seen}
}

func (s Sightings) floats() (n, seen, once, twice float64) {
	return float64(s.N), float64(s.Seen), float64(s.Once), float64(s.Twice)
}
