package workbook

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// number is a number of a cell as text, by the cell's format; rounded where a
// spreadsheet can't have kept all of its figures.
func (b *Book) number(raw string, style int) (text string, rounded bool, err error) {
	v, err := strconv.ParseFloat(raw, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return "", false, fmt.Errorf("%q is not a number", raw)
	}
	var f format
	if style >= 0 && style < len(b.formats.of) {
		f = b.formats.of[style]
	}
	if f.date {
		if text, ok := b.date(v, f.hours); ok {
			return text, false, nil
		}
	}
	text, rounded = figures(v, raw)
	if f.code != "" {
		text = b.formats.show(text, f.code)
	}
	return text, rounded, nil
}

// exact is where whole numbers begin to have more figures than the fifteen that a
// spreadsheet keeps.
const exact = 1e15

// figures gives a number with all the figures that were typed: fifteen count, what
// stands behind them is the noise of binary fractions.
func figures(v float64, raw string) (text string, rounded bool) {
	if v == math.Trunc(v) {
		if math.Abs(v) < exact {
			return strconv.FormatInt(int64(v), 10), false
		}
		if math.Abs(v) < 1e21 && strings.ContainsAny(raw, ".eE") {
			return strconv.FormatFloat(v, 'f', -1, 64), true
		}
		return raw, true // a program that keeps all figures wrote it
	}
	if v, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 15, 64), 64); err == nil {
		return strconv.FormatFloat(v, 'f', -1, 64), false
	}
	return raw, false
}

// days1904 is how many days the one count is before the other: 1 January 1904 is 0
// in one and 1462 in the other (18.17.4.1).
const days1904 = 1462

// lastDay is 31 December 9999.
const lastDay = 2958465

// date is the day of a number, with its time where there is one to show.
func (b *Book) date(v float64, hours bool) (string, bool) {
	day := math.Floor(v)
	minutes := int(math.Round((v - day) * 24 * 60))
	if b.From1904 {
		day += days1904
	}
	if day < 1 || day > lastDay {
		return "", false
	}
	if !b.From1904 && day < 60 {
		day++ // the count has a 29 February 1900 that never was
	}
	t := time.Date(1899, 12, 30, 0, minutes, 0, 0, time.UTC).AddDate(0, 0, int(day))
	if hours && minutes > 0 {
		return t.Format("2006-01-02 15:04"), true
	}
	return t.Format(time.DateOnly), true
}
