package stats

import (
	"fmt"
	"iter"
)

// DailyCurve is the curve of KaplanMeier where counts are listed by day. Its steps are
// made while they are gone through, with no memory for them: a shop of many years has a
// step for nearly each of its days, and looks at each once.
type DailyCurve struct {
	events, censored []int // the caller's own
	atRisk           int
}

// DailyKaplanMeier makes the product-limit curve of how many cases had their event on
// each day and how many were watched so long without one. The lists must stay as they
// are while the curve is in use.
func DailyKaplanMeier(events, censored []int) (DailyCurve, error) {
	c := DailyCurve{events, censored, 0}
	for _, list := range [][]int{events, censored} {
		for day, n := range list {
			if n < 0 {
				return DailyCurve{}, fmt.Errorf("survival curve: %d on day %d: must not be below zero", n, day)
			}
			c.atRisk += n
		}
	}
	if c.atRisk == 0 {
		return DailyCurve{}, fmt.Errorf("survival curve: %w", ErrNoCases)
	}
	return c, nil
}

// on is what happened on a day.
func (c DailyCurve) on(day int) (events, censored int) {
	if day < len(c.events) {
		events = c.events[day]
	}
	if day < len(c.censored) {
		censored = c.censored[day]
	}
	return events, censored
}

// days is how many days there are counts for.
func (c DailyCurve) days() int { return max(len(c.events), len(c.censored)) }

// All gives the steps one by one, by day.
func (c DailyCurve) All() iter.Seq[Step] {
	return func(yield func(Step) bool) {
		s, left := Step{Height: Height{S: 1}}, c.atRisk
		for day := range c.days() {
			events, censored := c.on(day)
			if events+censored == 0 {
				continue
			}
			if s = (Step{day, left, events, censored, s.after(events, left)}); !yield(s) {
				return
			}
			left -= events + censored
		}
	}
}

// Len is how many steps there are, and how many of them have an event.
func (c DailyCurve) Len() (steps, moves int) {
	for day := range c.days() {
		events, censored := c.on(day)
		if events > 0 {
			moves++
		}
		if events+censored > 0 {
			steps++
		}
	}
	return steps, moves
}

// At is Curve.At.
func (c DailyCurve) At(day int) (Point, error) {
	if day < 0 {
		return Point{}, fmt.Errorf("survival curve at day %d: must not be below zero", day)
	}
	p := Point{Day: day, Height: Height{S: 1}}
	last := 0
	for s := range c.All() {
		if s.Day >= day {
			p.AtRisk = s.AtRisk
		}
		if s.Day <= day {
			p.Height, last = s.Height, s.Day
		}
		if s.Day >= day {
			return p, nil
		}
	}
	if p.S > 0 {
		return Point{}, &PastLastError{Asked: day, Last: last}
	}
	return p, nil
}
