package stats

import (
	"fmt"
	"math"
)

// LogRankResult says how far groups differ in when their events came.
type LogRankResult struct {
	Observed []int     // events of each group
	Expected []float64 // events of each group were there no difference
	Chi2     float64
	DF       int
	P        float64
}

// LogRank compares the survival curves of groups over their whole length. A
// group that was never at risk on a day with an event takes no part.
func LogRank(groups ...[]DayCount) (LogRankResult, error) {
	sides := make([]side, len(groups))
	for i, g := range groups {
		counts, err := tidy(g)
		if err != nil {
			return LogRankResult{}, fmt.Errorf("log-rank test: group %d: %w", i+1, err)
		}
		sides[i] = newSide(counts)
	}
	s := newScores(len(groups))
	for day, ok := nextDay(sides); ok; day, ok = nextDay(sides) {
		s.add(takeDay(sides, day))
	}
	r := LogRankResult{Observed: s.observed, Expected: s.expected}
	if err := r.judge(s); err != nil {
		return LogRankResult{}, fmt.Errorf("log-rank test of %d groups: %w", len(groups), err)
	}
	return r, nil
}

// side is a group as it is walked through by day.
type side struct {
	left   []DayCount
	atRisk int
}

func newSide(counts []DayCount) side {
	s := side{left: counts}
	for _, c := range counts {
		s.atRisk += c.Events + c.Censored
	}
	return s
}

func nextDay(sides []side) (day int, ok bool) {
	for _, s := range sides {
		if len(s.left) > 0 && (!ok || s.left[0].Day < day) {
			day, ok = s.left[0].Day, true
		}
	}
	return day, ok
}

// takeDay gives how many of each side were at risk on a day and had the event,
// and moves each side past it.
func takeDay(sides []side, day int) (atRisk, events []int) {
	atRisk, events = make([]int, len(sides)), make([]int, len(sides))
	for i := range sides {
		s := &sides[i]
		atRisk[i] = s.atRisk
		if len(s.left) > 0 && s.left[0].Day == day {
			events[i] = s.left[0].Events
			s.atRisk -= s.left[0].Events + s.left[0].Censored
			s.left = s.left[1:]
		}
	}
	return atRisk, events
}

// scores are the sums over days that the test is made from.
type scores struct {
	observed []int
	expected []float64
	variance [][]float64
}

func newScores(groups int) *scores {
	s := &scores{observed: make([]int, groups), expected: make([]float64, groups)}
	for range groups {
		s.variance = append(s.variance, make([]float64, groups))
	}
	return s
}

// add counts in one day: its events fall on the groups as a draw without
// putting back from all at risk.
func (s *scores) add(atRisk, events []int) {
	r, d := 0, 0
	for i := range atRisk {
		r += atRisk[i]
		d += events[i]
	}
	if d == 0 {
		return
	}
	all, drawn := float64(r), float64(d)
	shrink := 0.0 // a draw of the last one left has no spread
	if r > 1 {
		shrink = drawn * (all - drawn) / (all - 1)
	}
	for i := range atRisk {
		share := float64(atRisk[i]) / all
		s.observed[i] += events[i]
		s.expected[i] += drawn * share
		for j := range atRisk {
			s.variance[i][j] -= shrink * share * float64(atRisk[j]) / all
		}
		s.variance[i][i] += shrink * share
	}
}

// judge makes chi-square from the sums. The groups' differences add up to zero,
// so one group is left out; which one makes no difference.
func (r *LogRankResult) judge(s *scores) error {
	var part []int
	for i, e := range s.expected {
		if e > 0 {
			part = append(part, i)
		}
	}
	if len(part) < 2 {
		return ErrNothingCompared
	}
	part = part[1:]
	matrix, gap := make([][]float64, len(part)), make([]float64, len(part))
	for i, g := range part {
		gap[i] = float64(s.observed[g]) - s.expected[g]
		for _, h := range part {
			matrix[i] = append(matrix[i], s.variance[g][h])
		}
	}
	form, ok := quadraticForm(matrix, gap)
	if !ok {
		return ErrNothingCompared
	}
	r.Chi2, r.DF = form, len(part)
	r.P = chi2Above(r.Chi2, r.DF)
	return nil
}

// quadraticForm is g' M^-1 g of a positive definite M, or not ok if M is not.
// Elimination on the diagonal is enough for such a matrix, and the form is the
// sum of what elimination leaves of g, squared, over the pivots.
func quadraticForm(m [][]float64, g []float64) (form float64, ok bool) {
	scale := 0.0
	for i := range m {
		scale = math.Max(scale, m[i][i])
	}
	for i := range m {
		if m[i][i] <= 1e-12*scale {
			return 0, false
		}
		form += g[i] * g[i] / m[i][i]
		for k := i + 1; k < len(m); k++ {
			f := m[k][i] / m[i][i]
			for j := i; j < len(m); j++ {
				m[k][j] -= f * m[i][j]
			}
			g[k] -= f * g[i]
		}
	}
	return form, true
}
