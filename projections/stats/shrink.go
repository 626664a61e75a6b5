package stats

import (
	"fmt"
	"math"
)

// fewestGroups is how many groups a prior can be fitted to. With fewer, how the
// rates differ from group to group is itself hardly known.
const fewestGroups = 5

// Unfit is why no prior could be fitted. Show each group's own Wilson limits
// then.
type Unfit int

const (
	TooFewGroups  Unfit = iota + 1 // fewer than five
	TooWideSpread                  // the rates spread at least as widely as a beta distribution can
	NoSpread                       // the rates differ no more than chance makes them
	AllOrNothing                   // the rates lie on 0 or 1 alone
	NoneFound                      // the search ended without a best fit
)

func (u Unfit) String() string {
	switch u {
	case TooFewGroups:
		return fmt.Sprintf("fewer than %d groups", fewestGroups)
	case TooWideSpread:
		return "the rates spread too widely"
	case NoSpread:
		return "the rates differ no more than by chance"
	case AllOrNothing:
		return "the rates are none or all"
	case NoneFound:
		return "no best fit was found"
	}
	return "no reason given"
}

// UnfitError is returned when groups give no prior.
type UnfitError struct {
	Fit    string // "moments" or "likelihood"
	Groups int
	Why    Unfit
}

func (e *UnfitError) Error() string {
	return fmt.Sprintf("prior by %s from %d groups: %s", e.Fit, e.Groups, e.Why)
}

// Prior is a beta distribution of the rates of groups: A+B is how many cases of
// its own a group needs to count as much as all the others together.
type Prior struct{ A, B float64 }

// roundingOfRates is how near to a bound a spread of rates is on it: a prior
// made from what rounding leaves would have a weight of next to none, or of
// next to endless.
const roundingOfRates = 1e-12

// MomentFit fits a prior to the mean and the standard deviation of the groups'
// rates, each group counting the same. Chance differences of small groups go
// into the deviation, so it shrinks less than LikelihoodFit does.
func MomentFit(groups []Share) (Prior, error) {
	if err := checkGroups("moments", groups); err != nil {
		return Prior{}, err
	}
	mean, variance := rateMoments(groups)
	widest := mean * (1 - mean)
	switch {
	case widest == 0:
		return Prior{}, &UnfitError{"moments", len(groups), AllOrNothing}
	case variance >= widest*(1-roundingOfRates):
		return Prior{}, &UnfitError{"moments", len(groups), TooWideSpread}
	case variance <= widest*roundingOfRates:
		return Prior{}, &UnfitError{"moments", len(groups), NoSpread}
	}
	weight := widest/variance - 1
	return Prior{mean * weight, (1 - mean) * weight}, nil
}

func checkGroups(fit string, groups []Share) error {
	for i, g := range groups {
		if err := g.check(); err != nil {
			return fmt.Errorf("prior by %s: group %d: %w", fit, i+1, err)
		}
	}
	if len(groups) < fewestGroups {
		return &UnfitError{fit, len(groups), TooFewGroups}
	}
	return nil
}

// rateMoments are the mean and the sample variance of the groups' rates.
func rateMoments(groups []Share) (mean, variance float64) {
	n := float64(len(groups))
	for _, g := range groups {
		mean += g.Rate()
	}
	mean /= n
	for _, g := range groups {
		variance += (g.Rate() - mean) * (g.Rate() - mean) / (n - 1)
	}
	return mean, variance
}

// Posterior is what is known of one group's rate with the prior's help.
type Posterior struct{ a, b float64 }

// Of gives what is known of the rate of a group that had x of n. None of none
// is a group of which nothing is known but what the others say.
func (p Prior) Of(s Share) (Posterior, error) {
	if s.X < 0 || s.X > s.N {
		return Posterior{}, fmt.Errorf("shrink the rate of a group: share of %d in %d", s.X, s.N)
	}
	if !(p.A > 0 && p.B > 0) || math.IsInf(p.A+p.B, 1) {
		return Posterior{}, fmt.Errorf("shrink the rate of a group: no prior: %v and %v", p.A, p.B)
	}
	return Posterior{p.A + float64(s.X), p.B + float64(s.N-s.X)}, nil
}

// Mean is the shrunken rate.
func (p Posterior) Mean() float64 { return p.a / (p.a + p.b) }

// SD is the standard deviation of the rate. It takes the prior as given and
// leaves out that the prior was fitted too.
func (p Posterior) SD() float64 {
	all := p.a + p.b
	return math.Sqrt(p.a*p.b/(all+1)) / all
}

// Limits hold the middle of what is known of the rate, with SD's gap.
func (p Posterior) Limits(level Level) Interval {
	return Interval{betaAt(level.tail(), p.a, p.b), betaTop(level.tail(), p.a, p.b)}
}
