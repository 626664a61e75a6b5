package stats

import (
	"errors"
	"fmt"
	"math"
)

// span is the repairs of one set in the time it was watched. Where the watch
// ended with the last repair, that repair says nothing but when the end was,
// and is not among the times.
type span struct {
	times    []float64
	end      float64
	byRepair bool
}

func newSpan(times []float64, end float64) (span, error) {
	if err := checkRepairs(times); err != nil {
		return span{}, err
	}
	last := times[len(times)-1]
	switch {
	case !(end >= last) || math.IsInf(end, 1):
		return span{}, fmt.Errorf("watched until %v with a repair at %v", end, last)
	case !(times[0] > 0):
		return span{}, fmt.Errorf("repair at %v: must be after the watch began", times[0])
	case end == last:
		return span{times[:len(times)-1], end, true}, nil
	}
	return span{times, end, false}, nil
}

// logSum is the sum of ln(T/t): large where the repairs came early.
func (s span) logSum() float64 {
	sum := 0.0
	for _, t := range s.times {
		sum += math.Log(s.end / t)
	}
	return sum
}

// Growth is the outcome of the test of MIL-HDBK-189.
type Growth struct {
	Statistic float64 // twice the sum of ln(T/t); large where the set improves
	DF        int
	Tails
}

// GrowthTest tests the times of one set's repairs, watched until end, against a
// steady rate, and is the best test if the rate follows a power of time.
func GrowthTest(times []float64, end float64) (Growth, error) {
	s, err := newSpan(times, end)
	if err != nil {
		return Growth{}, fmt.Errorf("growth test: %w", err)
	}
	g := Growth{Statistic: 2 * s.logSum(), DF: 2 * len(s.times)}
	g.Improving, g.Degrading = chi2Above(g.Statistic, g.DF), chi2Below(g.Statistic, g.DF)
	return g, nil
}

// Centroid is the outcome of the Laplace test.
type Centroid struct {
	Z float64 // below zero where the repairs lie early: the set improves
	Tails
}

// Laplace tests the times of one set's repairs, watched until end, against a
// steady rate by where their centre lies.
func Laplace(times []float64, end float64) (Centroid, error) {
	s, err := newSpan(times, end)
	if err != nil {
		return Centroid{}, fmt.Errorf("test by Laplace: %w", err)
	}
	n, off := float64(len(s.times)), 0.0
	for _, t := range s.times {
		off += t - s.end/2
	}
	c := Centroid{Z: math.Sqrt(12*n) * off / (n * s.end)}
	c.Improving, c.Degrading = normalBelow(c.Z), normalAbove(c.Z)
	return c, nil
}

// Power is a power law fitted to one set's repairs.
type Power struct {
	Slope float64 // below 1 where the set improves; corrected for small samples
	MTBF  float64 // mean time between repairs as it stands at the end of the watch

	repairs float64
}

// ErrEndedByRepair is returned when a power law is to be fitted to a watch that
// ended with its last repair. Other formulas hold then, and we have no
// published example to hold them against.
var ErrEndedByRepair = errors.New("the watch ended with its last repair")

// PowerLaw fits a power law to the times of one set's repairs, watched until
// some time after the last of them.
func PowerLaw(times []float64, end float64) (Power, error) {
	s, err := newSpan(times, end)
	if err == nil && s.byRepair {
		err = ErrEndedByRepair
	}
	if err != nil {
		return Power{}, fmt.Errorf("power law: %w", err)
	}
	r := float64(len(s.times))
	p := Power{Slope: (r - 1) / s.logSum(), repairs: r}
	p.MTBF = s.end / (r * p.Slope)
	return p, nil
}

// Limits are approximate limits of the MTBF. There are none where the level
// asks more than so few repairs can give.
func (p Power) Limits(level Level) (Interval, bool) {
	z, r := level.z(), p.repairs
	low := r + z*z/4 + math.Sqrt(r*z*z/2+z*z*z*z/16)
	high := r - z*math.Sqrt(r/2)
	if !(high > 0) {
		return Interval{}, false
	}
	scale := p.MTBF * r * (r - 1)
	return Interval{scale / (low * low), scale / (high * high)}, true
}
