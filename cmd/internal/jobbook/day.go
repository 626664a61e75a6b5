package jobbook

import (
	"fmt"
	"time"
)

// Day is a date of the calendar. The zero Day is none. An old book knows no
// hours, and a time.Time would bring a place and a zone that nobody typed.
type Day struct{ Year, Month, Day int }

// DayOf is the date of a moment, in the moment's own zone.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return Day{y, int(m), d}
}

// IsZero reports whether there is no date.
func (d Day) IsZero() bool { return d == Day{} }

// String is the date as ISO 8601 writes it, "" for none.
func (d Day) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

// Before reports whether d is the earlier of the two.
func (d Day) Before(other Day) bool {
	if d.Year != other.Year {
		return d.Year < other.Year
	}
	if d.Month != other.Month {
		return d.Month < other.Month
	}
	return d.Day < other.Day
}

// The years that a date of a book may have. Before the first there was no
// radio to repair.
const firstYear, lastYear = 1900, 2199

func (d Day) valid() bool {
	return d.Year >= firstYear && d.Year <= lastYear && d.Month >= 1 && d.Month <= 12 && d.Day >= 1 && d.Day <= daysIn(d.Year, d.Month)
}

func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// epoch is day zero of a spreadsheet's day numbers from 61 on. Below that they
// count a 29 February 1900 that never was; the numbers that are read have five
// digits.
var epoch = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)

func dayNumber(n int) Day { return DayOf(epoch.AddDate(0, 0, n)) }

// days1904 is how much later the count begins in a workbook that counts from 1904
// (ECMA-376 part 1, 18.17.4.1).
const days1904 = 1462
