package demo

import (
	"time"

	"oldhand/events"
)

// moment is an instant as the laptops' clocks have it: milliseconds since 1970.
type moment int64

const (
	dayMs    = 86_400_000
	minuteMs = 60_000
)

// The first and the last day of the story, a Monday and a Friday. They are
// constants, so that a story does not depend on the day it is told on.
var (
	firstDay = events.NewDay(1997, time.November, 3)
	lastDay  = events.NewDay(2026, time.November, 20)
)

// LastDay is the day the story ends on: what stands on the benches then is what
// an answer as of that day must find.
func LastDay() events.Day { return lastDay }

// on is the moment when the clock on the wall shows a second of a day.
func on(day events.Day, second int) moment {
	return moment(int64(day)*86400+int64(second)-int64(offsetOf(day))*60) * 1000
}

// wall is what the clock on the wall shows.
func (m moment) wall() events.When {
	off := offsetOf(events.Day(m / dayMs))
	s := int64(m)/1000 + int64(off)*60
	return events.When{Precision: events.ToSecond, Day: events.Day(s / 86400), Second: int32(s % 86400), Offset: off}
}

func (m moment) day() events.Day { return m.wall().Day }

// offsetOf is minutes east of UTC on a day: six hours west, five in summer.
func offsetOf(day events.Day) int16 {
	i := int(day - firstDay)
	return offsets[min(max(i, 0), len(offsets)-1)]
}

var offsets = func() []int16 {
	days := make([]int16, int(lastDay-firstDay)+2)
	for i := range days {
		days[i] = -360
		if isSummer(firstDay + events.Day(i)) {
			days[i] = -300
		}
	}
	return days
}()

// isSummer is true from the first Sunday of April to the last of October, the
// rule of the invented county.
func isSummer(day events.Day) bool {
	y := day.Date().Year()
	return day >= sundayFrom(events.NewDay(y, time.April, 1)) && day < sundayFrom(events.NewDay(y, time.October, 25))
}

func sundayFrom(day events.Day) events.Day {
	return day + events.Day((7-int(day.Date().Weekday()))%7)
}

// openSeconds is how long the counter is open on each of six days a week, from
// openAt on.
const (
	openSeconds = 10 * 3600
	openAt      = 9 * 3600
	closedDay   = 6 // counted from Monday
)

// busy is how busy each 29th part of the story is beside the others.
var busy = [29]int64{13, 14, 16, 16, 18, 19, 19, 20, 20, 21, 21, 20, 19, 19, 20, 21, 21, 22, 22, 22, 23, 23, 24, 23, 21, 22, 23, 24, 24}

// arrivals spreads n sets over the story's open hours.
type arrivals struct {
	n     int64
	part  int
	begun int64 // weight of the parts before
	total int64
}

func newArrivals(n int) *arrivals {
	a := &arrivals{n: int64(n)}
	for _, w := range busy {
		a.total += w
	}
	return a
}

// moment is when the i-th set comes in; jitter is 0 to 2^20-1. Called with
// rising i.
func (a *arrivals) moment(i, jitter int) moment {
	const one = 1 << 20
	at := (int64(i)*one + int64(jitter)) * a.total / a.n // of total weights, in 2^-20
	for at >= (a.begun+busy[a.part])*one && a.part < len(busy)-1 {
		a.begun += busy[a.part]
		a.part++
	}
	whole := int64(openDays()) * openSeconds
	second := (int64(a.part)*whole + (at-a.begun*one)*whole/(busy[a.part]*one)) / int64(len(busy))
	day := second / openSeconds
	return on(firstDay+events.Day(day/closedDay*7+day%closedDay), openAt+int(second%openSeconds))
}

func openDays() int { return int(lastDay-firstDay+1) / 7 * closedDay }

// openOn is the day, or the next where the shop is closed on it.
func openOn(day events.Day) events.Day {
	if (day-firstDay)%7 == closedDay {
		return day + 1
	}
	return day
}
