package events

import (
	"fmt"
	"strings"
	"time"
)

// Day is a calendar date as days since 1970-01-01. What it means is the date
// on the wall of the shop, so it has no time zone.
type Day int32

// DayOf is the calendar date of an instant in its own zone.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return NewDay(y, m, d)
}

// NewDay is the day of a date; days past a month's end run on into the next.
func NewDay(year int, month time.Month, day int) Day {
	return Day(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// Date is the day's midnight in UTC, for formatting and for weekdays.
func (d Day) Date() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// String is the ISO 8601 date.
func (d Day) String() string { return d.Date().Format(time.DateOnly) }

// ParseDay reads an ISO 8601 date.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("day %q: want a date like 2026-11-25", s)
	}
	return DayOf(t), nil
}

// Precision says how much of a When was known.
type Precision uint8

const (
	Unknown  Precision = iota // nothing is known
	ToDay                     // the date, as an old book has it
	ToSecond                  // the instant and its offset from UTC
)

// When is the time at which something happened at the bench, as precisely as
// it was known. The zero When is unknown.
type When struct {
	Precision Precision
	Day       Day   // calendar date at the bench
	Second    int32 // of that date, 0 to 86399, by the clock on the wall
	Offset    int16 // minutes east of UTC
}

// OnDay is a date of which nothing finer is known.
func OnDay(d Day) When { return When{Precision: ToDay, Day: d} }

// AtTime is an instant to the second, on the calendar of its own zone.
func AtTime(t time.Time) When {
	_, off := t.Zone()
	h, m, s := t.Clock()
	return When{ToSecond, DayOf(t), int32(h*3600 + m*60 + s), int16(off / 60)}
}

// Validate refuses what no clock shows.
func (w When) Validate() error {
	if w.sound() {
		return nil // every record read passes here: no arguments of messages are made for what is well
	}
	return firstOf(
		clause(w.Precision <= ToSecond, "time: unknown precision"),
		clause(w.Precision != Unknown || w == When{}, "time: unknown, yet it says something"),
		clause(w.Precision == ToSecond || w.Second == 0 && w.Offset == 0, "time: a day with a time of day"),
		clause(w.Second >= 0 && w.Second < 86400, "time: second %d is not of a day", w.Second),
		clause(w.Offset > -24*60 && w.Offset < 24*60, "time: offset of %d minutes is over a day", w.Offset),
		clause(w.Precision == Unknown || w.Day >= minDay && w.Day <= maxDay, "time: day %s is not between %s and %s", w.Day, minDay, maxDay),
	)
}

// sound is what Validate asks, without a message.
func (w When) sound() bool {
	switch w.Precision {
	case Unknown:
		return w == When{}
	case ToDay:
		return w.Second == 0 && w.Offset == 0 && w.Day >= minDay && w.Day <= maxDay
	}
	return w.Precision == ToSecond && w.Second >= 0 && w.Second < 86400 && w.Offset > -24*60 && w.Offset < 24*60 && w.Day >= minDay && w.Day <= maxDay
}

// String is the ISO 8601 date, the RFC 3339 instant, or "unknown".
func (w When) String() string {
	switch w.Precision {
	case ToDay:
		return w.Day.String()
	case ToSecond:
		return w.Day.Date().Add(time.Duration(w.Second)*time.Second).
			In(time.UTC).Format("2006-01-02T15:04:05") + offsetText(w.Offset)
	}
	return "unknown"
}

func offsetText(minutes int16) string {
	if minutes == 0 {
		return "Z"
	}
	sign := '+'
	if minutes < 0 {
		sign, minutes = '-', -minutes
	}
	return fmt.Sprintf("%c%02d:%02d", sign, minutes/60, minutes%60)
}

// Time is the instant in UTC, midnight at the bench where only a day is known.
func (w When) Time() time.Time {
	return w.Day.Date().Add(time.Duration(w.Second)*time.Second - time.Duration(w.Offset)*time.Minute)
}

// ParseWhen reads a date, an instant with an offset, an instant on the wall
// clock of loc, or "unknown".
func ParseWhen(s string, loc *time.Location) (When, error) {
	s = strings.TrimSpace(s)
	if s == "unknown" {
		return When{}, nil
	}
	if d, err := ParseDay(s); err == nil {
		return OnDay(d), nil
	}
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return AtTime(t), nil
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04"} {
		if t, err := time.ParseInLocation(layout, s, loc); err == nil {
			return AtTime(t), nil
		}
	}
	return When{}, fmt.Errorf("time %q: want a day like 2026-11-25 or an instant like 2026-11-25T14:30", s)
}

// MarshalText is String.
func (w When) MarshalText() ([]byte, error) { return []byte(w.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (w *When) UnmarshalText(b []byte) (err error) {
	*w, err = ParseWhen(string(b), time.UTC)
	return err
}
