// Package workdays counts the days on which a shop works: weekdays, less the
// holidays of a country, more and less the days that the shop itself said.
//
// What counts as a holiday is data. The federal holidays of the United States
// (5 U.S.C. 6103; one that falls on a Saturday is kept on the Friday before,
// one on a Sunday on the Monday after) come from a library; a shop of one
// person keeps its own days, which stand over them. Counting is of days, from
// the first up to and without the last, so that a set received and shipped on
// one day has stayed none.
package workdays

import (
	"fmt"
	"sync"
	"time"

	"oldhand/events"

	"github.com/rickar/cal/v2"
	"github.com/rickar/cal/v2/us"
)

// Calendar tells working days from others. It may be used by several
// goroutines.
type Calendar struct {
	holidays []*cal.Holiday
	own      map[events.Day]bool // days the shop said: whether it works

	mu    sync.Mutex
	years map[int]map[events.Day]bool // holidays kept, by year
}

// Rules are the sets of holidays there are, by name.
var Rules = []string{"weekdays", "us"}

// New makes a calendar by a rule: "weekdays" knows no holidays, "us" the
// federal ones. Of several words about one day the last stands.
func New(rule string, own []events.ShopDay) (*Calendar, error) {
	c := &Calendar{own: map[events.Day]bool{}, years: map[int]map[events.Day]bool{}}
	switch rule {
	case "weekdays":
	case "us":
		for _, h := range us.Holidays {
			if h != us.DayAfterThanksgivingDay { // kept by many, and no federal holiday
				c.holidays = append(c.holidays, h)
			}
		}
	default:
		return nil, fmt.Errorf("working days by %q: there are weekdays and us", rule)
	}
	for _, d := range own {
		c.own[d.Day] = d.Open
	}
	return c, nil
}

// Works reports whether a day is a working day.
func (c *Calendar) Works(d events.Day) bool { return c.Count(d, d+1) == 1 }

// Count is how many working days lie from a day up to and without another.
func (c *Calendar) Count(from, to events.Day) (n int) {
	var year int
	var kept map[events.Day]bool // of the year
	for d := from; d < to; d++ {
		date := d.Date()
		if y := date.Year(); kept == nil || y != year {
			year, kept = y, c.kept(y)
		}
		weekend := date.Weekday() == time.Saturday || date.Weekday() == time.Sunday
		works, said := c.own[d]
		if !said {
			works = !weekend && !kept[d]
		}
		if works {
			n++
		}
	}
	return n
}

// kept are the days of a year on which holidays are kept: also those of the
// next year's that fall into this one.
func (c *Calendar) kept(year int) map[events.Day]bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if days, ok := c.years[year]; ok {
		return days
	}
	days := map[events.Day]bool{}
	for _, y := range []int{year, year + 1} {
		for _, h := range c.holidays {
			if actual, observed := h.Calc(y); !actual.IsZero() && observed.Year() == year {
				days[events.DayOf(observed)] = true
			}
		}
	}
	c.years[year] = days
	return days
}
