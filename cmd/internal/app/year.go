package app

import (
	"errors"
	"fmt"
	"strconv"

	"oldhand/events/eventlog"
	"oldhand/projections"
)

// YearPast is all of one year beside the years before it, for the owner.
type YearPast struct {
	Year  int
	AsOf  string
	Runs  bool                // it is not over yet
	Years *projections.Result // the year and the five before it
	Stay  *projections.Result // how long the visits of the year took, and those of the year before; nil where there were none
	Lists []projections.YearList
	First int // the first year that the shop has records of; zero where it has none
	Last  int // the running one
}

// OfYear tells of a year; zero is the running one.
func (s *Shop) OfYear(year int) (y YearPast, err error) {
	y.Last = s.today().Date().Year()
	if year == 0 {
		year = y.Last
	}
	if year < 1800 || year > y.Last {
		return y, &Wrong{"year " + strconv.Itoa(year), fmt.Sprintf("want one up to %d", y.Last)}
	}
	y.Year, y.Runs = year, year == y.Last
	err = s.view(func(v *eventlog.View) error {
		if y.Years, err = s.about(v, "year", projections.Asked{Year: year}); err != nil {
			return err
		}
		y.AsOf = y.Years.AsOf
		if y.First, err = projections.FirstYear(v); err != nil {
			return err
		}
		if y.Lists, err = projections.YearLists(v, year, s.today()); err != nil {
			return err
		}
		return s.stayOfYear(v, &y)
	})
	return y, err
}

// stayOfYear sets how long the visits of the year took beside those of the year
// before, where there were any.
func (s *Shop) stayOfYear(v *eventlog.View, y *YearPast) error {
	for _, groups := range [][]string{{strconv.Itoa(y.Year), strconv.Itoa(y.Year - 1)}, {strconv.Itoa(y.Year)}} {
		res, err := s.about(v, "turnaround", projections.Asked{By: "year", Groups: groups})
		if errors.As(err, new(*projections.NoGroup)) {
			continue
		}
		y.Stay = res
		return err
	}
	return nil
}
