package measure

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// DateReading is one way to read a source-and-date code: a number registered to
// a maker, a year of one or two digits, and a week.
//
// The registered numbers were kept by a trade body from 1945 on (EIA-476). Which
// number is whose is not kept here: only the published lists say so.
type DateReading struct {
	Layout string // such as "3+2+2": digits of number, year, week
	Maker  string // the registered number, as digits
	Year   int
	Week   int // 1 to 53
	// From and To bound the week, both days in, at midnight UTC. Makers counted
	// weeks by several rules; the 19 days hold the week under all of them. A
	// single day or a single week is never the answer.
	From, To time.Time
	// NotISO marks week 53 of a year that has 52 weeks by ISO 8601.
	NotISO bool
	// Outside marks a two-digit year outside the window. The reading is kept: the
	// code says what it says.
	Outside bool
}

// YearWindow is the years in which a part can have been made, both in.
type YearWindow struct{ First, Last int }

// UsualYears is the window to take when nothing narrower is known.
var UsualYears = YearWindow{1945, 1989}

// ReadDateCode gives every reading of a code, with or without dashes or spaces:
// 606-4-21, 134-6320, 1136352. A one-digit year gives one reading for each year
// of the window that ends in it. Seven digits without a dash have two layouts,
// and the readings of both are given, two-digit year first. It refuses, saying
// why, what is empty, has other characters, is of another length, or has a week
// other than 01 to 53.
func ReadDateCode(code string, window YearWindow) ([]DateReading, error) {
	layouts, err := codeLayouts(code)
	if err != nil {
		return nil, fmt.Errorf("read date code %q: %w", code, err)
	}
	var readings []DateReading
	for _, l := range layouts {
		week, _ := strconv.Atoi(l.week)
		if week < 1 || week > 53 {
			return nil, fmt.Errorf("read date code %q: week %s, weeks are 01 to 53", code, l.week)
		}
		for _, year := range window.years(l.year) {
			readings = append(readings, l.reading(year, week, window))
		}
	}
	if len(readings) == 0 {
		return nil, fmt.Errorf("read date code %q: no year from %d to %d ends in %s", code, window.First, window.Last, layouts[0].year)
	}
	return readings, nil
}

// layout is a code cut into its three fields.
type layout struct{ maker, year, week string }

// codeLayouts cuts a code into every layout it can have.
func codeLayouts(code string) ([]layout, error) {
	groups := strings.FieldsFunc(code, func(r rune) bool { return r == '-' || r == ' ' || r == '–' })
	if len(groups) == 0 {
		return nil, errors.New("it is empty")
	}
	for _, r := range strings.Join(groups, "") {
		if r < '0' || r > '9' {
			return nil, fmt.Errorf("%q is not a digit", r)
		}
	}
	switch len(groups) {
	case 1:
		return wholeLayouts(groups[0])
	case 2:
		if n := len(groups[1]); n == 3 || n == 4 {
			return checkedMaker(layout{groups[0], groups[1][:n-2], groups[1][n-2:]})
		}
		return nil, errors.New("behind the number, want a year of one or two digits and a week of two")
	case 3:
		if len(groups[1]) <= 2 && len(groups[2]) == 2 {
			return checkedMaker(layout{groups[0], groups[1], groups[2]})
		}
	}
	return nil, errors.New("want number, year and week: three or four digits, one or two, two")
}

func checkedMaker(l layout) ([]layout, error) {
	if len(l.maker) != 3 && len(l.maker) != 4 {
		return nil, fmt.Errorf("number %s has %d digits, want three or four", l.maker, len(l.maker))
	}
	return []layout{l}, nil
}

// wholeLayouts cuts a code that has no dashes.
func wholeLayouts(digits string) ([]layout, error) {
	n := len(digits)
	if n < 6 || n > 8 {
		return nil, fmt.Errorf("%d digits, want six to eight", n)
	}
	cut := func(maker int) layout { return layout{digits[:maker], digits[maker : n-2], digits[n-2:]} }
	if n == 7 {
		return []layout{cut(3), cut(4)}, nil
	}
	return []layout{cut(n / 2)}, nil // 6 is 3+1+2 and 8 is 4+2+2
}

// years gives the years that a one-digit or two-digit year can be. Two digits
// are of the 1900s: the numbers were given out until 2001 and the sets are old.
func (w YearWindow) years(text string) (years []int) {
	n, _ := strconv.Atoi(text)
	if len(text) == 2 {
		return []int{1900 + n}
	}
	for year := w.First; year <= w.Last; year++ {
		if year%10 == n {
			years = append(years, year)
		}
	}
	return years
}

func (l layout) reading(year, week int, w YearWindow) DateReading {
	from, to := weekRange(year, week)
	_, _, iso := ISOWeek(year, week)
	return DateReading{
		Layout: fmt.Sprintf("%d+%d+2", len(l.maker), len(l.year)),
		Maker:  l.maker, Year: year, Week: week, From: from, To: to,
		NotISO: !iso, Outside: year < w.First || year > w.Last,
	}
}

// weekRange gives the 19 days in which week W of a year lies under six rules
// that were tried for 1940 to 1995: ISO; Sunday weeks, the first with four days
// or more in the year; the first full Sunday week; Sunday and Monday weeks
// holding January 1; blocks of seven days.
func weekRange(year, week int) (from, to time.Time) {
	return day(year, 1, 1+7*(week-1)-6), day(year, 1, 1+7*(week-1)+12)
}

// ISOWeek gives Monday and Sunday of a week by ISO 8601, or false where the year
// has no such week. A code's week need not be an ISO week: the trade body's own
// example is one from Sunday to Saturday.
func ISOWeek(year, week int) (monday, sunday time.Time, ok bool) {
	fourth := day(year, 1, 4) // always in week 1
	sinceMonday := (int(fourth.Weekday()) + 6) % 7
	monday = fourth.AddDate(0, 0, 7*(week-1)-sinceMonday)
	y, w := monday.ISOWeek()
	return monday, monday.AddDate(0, 0, 6), y == year && w == week
}

func day(year, month, day int) time.Time {
	return time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
}
