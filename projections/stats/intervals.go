package stats

import (
	"fmt"
	"math"
)

// Share is x of n.
type Share struct{ X, N int }

func (s Share) check() error {
	if s.N < 1 || s.X < 0 || s.X > s.N {
		return fmt.Errorf("share of %d in %d: must be none to all of at least one", s.X, s.N)
	}
	return nil
}

// Rate is x/n.
func (s Share) Rate() float64 { return float64(s.X) / float64(s.N) }

// Wilson gives the score limits of a share, without continuity correction.
// They are the ones to show unless something speaks against it: their long-run
// coverage stays near the level from small n on, and they never leave 0 to 1.
func Wilson(s Share, level Level) (Interval, error) {
	if err := s.check(); err != nil {
		return Interval{}, fmt.Errorf("limits by Wilson: %w", err)
	}
	n, q, z := float64(s.N), s.Rate(), level.z()
	stretch := 1 + z*z/n
	centre := (q + z*z/(2*n)) / stretch
	half := z * math.Sqrt(q*(1-q)/n+z*z/(4*n*n)) / stretch
	return s.ends(Interval{centre - half, centre + half}), nil
}

// ends puts the limit on 0 where nobody has it and on 1 where all do. For
// Wilson that only takes off rounding; for the other two it is the rule.
func (s Share) ends(i Interval) Interval {
	if s.X == 0 {
		i.Lo = 0
	}
	if s.X == s.N {
		i.Hi = 1
	}
	return i
}

// ClopperPearson gives the exact limits of a share: they hold at least as
// often as the level says, and mostly more often, so they are wide.
func ClopperPearson(s Share, level Level) (Interval, error) {
	if err := s.check(); err != nil {
		return Interval{}, fmt.Errorf("limits by Clopper and Pearson: %w", err)
	}
	x, n, all := float64(s.X), float64(s.N), Interval{0, 1}
	if s.X > 0 {
		all.Lo = betaAt(level.tail(), x, n-x+1)
	}
	if s.X < s.N {
		all.Hi = betaTop(level.tail(), x+1, n-x)
	}
	return all, nil
}

// Jeffreys gives the limits of a share by a prior of half a case on each side,
// with the lower limit put on 0 at none and the upper on 1 at all: without that
// rule none of ten would be shown with a lower limit above zero.
func Jeffreys(s Share, level Level) (Interval, error) {
	if err := s.check(); err != nil {
		return Interval{}, fmt.Errorf("limits by Jeffreys: %w", err)
	}
	a, b := float64(s.X)+0.5, float64(s.N-s.X)+0.5
	return s.ends(Interval{betaAt(level.tail(), a, b), betaTop(level.tail(), a, b)}), nil
}

// Garwood gives the exact limits of the number of events to be expected where
// count were seen.
func Garwood(count int, level Level) (Interval, error) {
	if count < 0 {
		return Interval{}, fmt.Errorf("limits of a count of %d: must not be below zero", count)
	}
	i := Interval{Hi: gammaTop(level.tail(), float64(count)+1)}
	if count > 0 {
		i.Lo = gammaAt(level.tail(), float64(count))
	}
	return i, nil
}

// GarwoodRate gives the exact limits of events for one unit of exposure, such
// as come-backs a set-year, where count were seen in all of the exposure.
func GarwoodRate(count int, exposure float64, level Level) (Interval, error) {
	if !(exposure > 0) || math.IsInf(exposure, 1) {
		return Interval{}, fmt.Errorf("rate of %d in an exposure of %v: the exposure must be above zero", count, exposure)
	}
	i, err := Garwood(count, level)
	if err != nil {
		return Interval{}, err
	}
	return i.over(exposure), nil
}
