package main

import (
	"fmt"
	"math"
	"time"
)

// unit is what a figure is counted in, and says how it is shown.
type unit string

const (
	seconds   unit = "s"
	perSecond unit = "1/s"
	byteCount unit = "bytes"
	mebibytes unit = "MiB"
	times     unit = "times"
)

// show writes a value with three digits.
func (u unit) show(v float64) string {
	switch u {
	case seconds:
		return showTime(v)
	case perSecond:
		return inThousands(v) + "/s"
	case byteCount:
		return showBytes(v)
	case mebibytes:
		return three(v) + " MiB"
	}
	return three(v) + "x"
}

// showTime writes seconds with three digits or a few more.
func showTime(v float64) string {
	d := time.Duration(v * float64(time.Second))
	for _, fine := range []time.Duration{time.Second, time.Millisecond, time.Microsecond, time.Nanosecond} {
		if d >= 100*fine {
			return d.Round(fine).String()
		}
		if d >= fine {
			return d.Round(max(fine/100, 1)).String()
		}
	}
	return d.String()
}

func showBytes(v float64) string {
	switch {
	case v >= 1e6:
		return three(v/1e6) + " MB"
	case v >= 1e4:
		return three(v/1e3) + " kB"
	}
	return three(v) + " B"
}

// inThousands writes a number with three digits and what it is in.
func inThousands(v float64) string {
	switch {
	case v >= 1e6:
		return three(v/1e6) + "M"
	case v >= 1e3:
		return three(v/1e3) + "k"
	}
	return three(v)
}

// three writes a number with three digits, and larger ones whole.
func three(v float64) string {
	if v >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}

// goal is what a figure should reach. The zero goal asks for nothing.
type goal struct {
	ratio bool // it is about the ratio to the peer, not about ours
	least bool // at least, not at most
	limit float64
}

func atMost(limit float64) goal       { return goal{limit: limit} }
func atLeast(limit float64) goal      { return goal{least: true, limit: limit} }
func ratioAtMost(limit float64) goal  { return goal{ratio: true, limit: limit} }
func ratioAtLeast(limit float64) goal { return goal{ratio: true, least: true, limit: limit} }

func (g goal) show(u unit) string {
	if g.limit == 0 {
		return ""
	}
	if g.ratio {
		u = times
	}
	if g.least {
		return ">= " + u.show(g.limit)
	}
	return "<= " + u.show(g.limit)
}

// met says whether a goal is reached, in words; empty where there is none.
func (g goal) met(ours, ratio float64) string {
	is := ours
	if g.ratio {
		is = ratio
	}
	switch {
	case g.limit == 0 || math.IsNaN(is):
		return ""
	case g.least && is >= g.limit, !g.least && is <= g.limit:
		return "met"
	}
	return "not met"
}

// figure is one figure while it is measured: a value of ours a round, and beside
// it the peer's of the same round.
type figure struct {
	name   string
	unit   unit
	peer   string // whose the other values are; empty where it stands alone
	goal   goal
	ours   []float64
	theirs []float64
}

// beside adds a round.
func (f *figure) beside(ours, theirs float64) {
	f.ours, f.theirs = append(f.ours, ours), append(f.theirs, theirs)
}

// alone adds a round of ours only.
func (f *figure) alone(ours float64) { f.ours = append(f.ours, ours) }

// ratio is the median of the rounds' ratios, ours to the peer's. It is not the
// ratio of the medians: what slows a round down slows both sides of it.
func (f *figure) ratio() float64 {
	if len(f.theirs) == 0 {
		return math.NaN()
	}
	var each []float64
	for i, ours := range f.ours {
		each = append(each, ours/f.theirs[i])
	}
	return median(each)
}

// row is the figure as the table has it.
func (f *figure) row(events int) row {
	r := row{Figure: f.name, Events: events, Unit: f.unit, Beside: f.peer, Goal: f.goal.show(f.unit), Rounds: len(f.ours)}
	if len(f.ours) == 0 {
		r.Failed = "nothing was measured"
		return r
	}
	r.Ours = median(f.ours)
	if q := f.ratio(); !math.IsNaN(q) {
		r.Peer, r.Ratio = median(f.theirs), q
	}
	r.Met = f.goal.met(r.Ours, f.ratio())
	return r
}
