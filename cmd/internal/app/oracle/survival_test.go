package oracle_test

import (
	"math"
	"slices"
)

// z is the 97.5 % point of the normal distribution (shared facts, the head).
const z = 1.959963985

// stay is how many days somebody was watched, and whether it ended so.
type stay struct {
	days  int
	ended bool
}

// step is a day on which a curve falls.
type step struct {
	day, atRisk, events int
	s, low, high        float64 // limits NaN where undefined
}

// productLimit is the estimator of shared facts, section 1: at each day the
// share of those watched so long, whose watching ended otherwise on that day
// counted too, that did not end then. Limits are of the log-log form.
func productLimit(stays []stay) (steps []step) {
	s, sum := 1.0, 0.0
	for _, day := range daysOf(stays) {
		atRisk, events := 0, 0
		for _, x := range stays {
			if x.days >= day {
				atRisk++
			}
			if x.days == day && x.ended {
				events++
			}
		}
		s *= 1 - float64(events)/float64(atRisk)
		sum += float64(events) / (float64(atRisk) * float64(atRisk-events))
		low, high := math.NaN(), math.NaN()
		if atRisk > events {
			e := z * math.Sqrt(sum) / -math.Log(s)
			low, high = math.Pow(s, math.Exp(e)), math.Pow(s, math.Exp(-e))
		}
		steps = append(steps, step{day, atRisk, events, s, low, high})
	}
	return steps
}

// daysOf are the days on which something ended, each once.
func daysOf(stays []stay) (days []int) {
	for _, x := range stays {
		if x.ended {
			days = append(days, x.days)
		}
	}
	slices.Sort(days)
	return slices.Compact(days)
}

// reaches is the day on which a curve is down at a share, nil where it never
// gets there. Where it runs level at just that share, the middle of the level.
func reaches(steps []step, share float64, of func(step) float64) any {
	for i, st := range steps {
		switch d := of(st) - share; {
		case math.IsNaN(d) || d > 1e-9:
		case d > -1e-9 && i+1 < len(steps):
			return float64(st.day+steps[i+1].day) / 2
		default:
			return float64(st.day)
		}
	}
	return nil
}

func middle(st step) float64 { return st.s }
func lower(st step) float64  { return st.low }
func upper(st step) float64  { return st.high }

// drawn are the steps as an answer lists them.
func drawn(steps []step) []any {
	list := []any{}
	for _, st := range steps {
		low, high := st.low, st.high
		if math.IsNaN(low) {
			low, high = -1, -1
		}
		list = append(list, []any{float64(st.day), st.s, low, high, float64(st.atRisk)})
	}
	return list
}

// after is the height of a curve some days on, and its limits; nil where nobody
// was watched so long.
func after(stays []stay, days int) (at *step) {
	longest := slices.MaxFunc(stays, func(a, b stay) int { return a.days - b.days }).days
	if longest < days {
		return nil
	}
	at = &step{s: 1, low: math.NaN(), high: math.NaN()}
	for _, st := range productLimit(stays) {
		if st.day <= days {
			*at = st
		}
	}
	return at
}
