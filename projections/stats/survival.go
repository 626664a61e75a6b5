package stats

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"sort"
)

// Case is one thing watched: for how many days, and whether the event came on
// the last of them. Where it did not, the case is censored: it is known only
// that the event had not come by then.
type Case struct {
	Day   int
	Event bool
}

// DayCount is how many cases had their event after so many days and how many
// were watched for so many days without one.
type DayCount struct{ Day, Events, Censored int }

// CountCases puts cases together by day.
func CountCases(cases []Case) []DayCount {
	at := make(map[int]int)
	var counts []DayCount
	for _, c := range cases {
		i, seen := at[c.Day]
		if !seen {
			i = len(counts)
			at[c.Day] = i
			counts = append(counts, DayCount{Day: c.Day})
		}
		if c.Event {
			counts[i].Events++
		} else {
			counts[i].Censored++
		}
	}
	slices.SortFunc(counts, byDay)
	return counts
}

func byDay(a, b DayCount) int { return a.Day - b.Day }

// tidy gives the counts in order of days, each day once and none empty. Counts
// that are so already, as a tally's are, come back as they are.
func tidy(counts []DayCount) ([]DayCount, error) {
	ready := true
	for i, c := range counts {
		if c.Day < 0 || c.Events < 0 || c.Censored < 0 {
			return nil, fmt.Errorf("count %d: day %d with %d events and %d censored: none may be below zero",
				i+1, c.Day, c.Events, c.Censored)
		}
		ready = ready && c.Events+c.Censored > 0 && (i == 0 || counts[i-1].Day < c.Day)
	}
	if ready {
		return counts, nil
	}
	kept := slices.DeleteFunc(slices.Clone(counts), func(c DayCount) bool { return c.Events+c.Censored == 0 })
	slices.SortFunc(kept, byDay)
	return mergeDays(kept), nil
}

func mergeDays(sorted []DayCount) []DayCount {
	merged := sorted[:0]
	for _, c := range sorted {
		last := len(merged) - 1
		if last >= 0 && merged[last].Day == c.Day {
			merged[last].Events += c.Events
			merged[last].Censored += c.Censored
			continue
		}
		merged = append(merged, c)
	}
	return merged
}

// Height is how high a survival curve stands at a time: the share that had no
// event by then.
type Height struct {
	S float64

	// spread is Greenwood's sum, of d/(r(r-d)) over the event days so far, and
	// infinite once all of those at risk had the event.
	spread float64
}

// SE is Greenwood's standard error of S. There is none once S is 0.
func (h Height) SE() (se float64, ok bool) {
	if h.S == 0 {
		return 0, false
	}
	return h.S * math.Sqrt(h.spread), true
}

// Limits are the limits of S on the scale of log(-log S), which keeps them
// between 0 and 1. There are none while S is 1 nor once it is 0.
func (h Height) Limits(level Level) (Interval, bool) {
	if h.S == 0 || h.S == 1 {
		return Interval{}, false
	}
	log := math.Log(h.S)
	stretch := math.Exp(level.z() * math.Sqrt(h.spread) / -log)
	return Interval{math.Exp(log * stretch), math.Exp(log / stretch)}, true
}

// Step is what a survival curve does on one day on which anything happened.
type Step struct {
	Day      int
	AtRisk   int // watched up to this day at least, those censored on it included
	Events   int
	Censored int
	Height   // from this day on
}

// Curve is a survival curve. Its steps are the days with an event or a
// censoring; one with only censorings does not move it.
type Curve struct{ steps []Step }

// KaplanMeier makes the product-limit curve of counts, in any order.
func KaplanMeier(counts []DayCount) (Curve, error) {
	counts, err := tidy(counts)
	if err != nil {
		return Curve{}, fmt.Errorf("survival curve: %w", err)
	}
	if len(counts) == 0 {
		return Curve{}, fmt.Errorf("survival curve: %w", ErrNoCases)
	}
	atRisk := 0
	for _, c := range counts {
		atRisk += c.Events + c.Censored
	}
	steps := make([]Step, len(counts))
	height := Height{S: 1}
	for i, c := range counts {
		height = height.after(c.Events, atRisk)
		steps[i] = Step{c.Day, atRisk, c.Events, c.Censored, height}
		atRisk -= c.Events + c.Censored
	}
	return Curve{steps}, nil
}

// after is the height once so many of those at risk had the event. Those
// censored on the same day are still among the ones at risk: an event comes
// before a censoring.
func (h Height) after(events, atRisk int) Height {
	if events == 0 {
		return h
	}
	h.S *= float64(atRisk-events) / float64(atRisk)
	h.spread += jump(events, atRisk)
	return h
}

// jump is one day's part of Greenwood's sum.
func jump(events, atRisk int) float64 {
	return float64(events) / (float64(atRisk) * float64(atRisk-events))
}

// Steps are the steps of the curve by day. The slice is the caller's own.
func (c Curve) Steps() []Step { return slices.Clone(c.steps) }

// All gives the steps one by one, without a copy of all.
func (c Curve) All() iter.Seq[Step] { return slices.Values(c.steps) }

// Len is how many steps there are, and how many of them have an event.
func (c Curve) Len() (steps, moves int) {
	for _, s := range c.steps {
		if s.Events > 0 {
			moves++
		}
	}
	return len(c.steps), moves
}

// Point is a survival curve at a day, which need not be one of its steps.
type Point struct {
	Day    int
	AtRisk int // watched up to this day at least
	Height
}

// At gives the curve at a day: 1 before the first step, and a PastLastError
// after the last one if the curve had not come down to 0, for nobody was
// watched that long.
func (c Curve) At(day int) (Point, error) {
	if day < 0 {
		return Point{}, fmt.Errorf("survival curve at day %d: must not be below zero", day)
	}
	if err := c.reaches(day); err != nil {
		return Point{}, err
	}
	p := Point{Day: day, Height: Height{S: 1}}
	next := sort.Search(len(c.steps), func(i int) bool { return c.steps[i].Day >= day })
	if next < len(c.steps) {
		p.AtRisk = c.steps[next].AtRisk
		if c.steps[next].Day == day {
			next++
		}
	}
	if next > 0 {
		p.Height = c.steps[next-1].Height
	}
	return p, nil
}

// reaches refuses a day after the last observation of an open curve.
func (c Curve) reaches(day int) error {
	var last Step
	if n := len(c.steps); n > 0 {
		last = c.steps[n-1]
	} else {
		last.S = 1
	}
	if day > last.Day && last.S > 0 {
		return &PastLastError{Asked: day, Last: last.Day}
	}
	return nil
}
