package events_test

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // so that no machine lacks New York

	"oldhand/events"
)

// Go's own calendar, day by day over all the days an event can lie on.
func TestDaysAreThoseOfGosCalendarFrom1850To2500(t *testing.T) {
	d := events.NewDay(1850, 1, 1)
	for at := time.Date(1850, 1, 1, 0, 0, 0, 0, time.UTC); at.Year() < 2501; at = at.AddDate(0, 0, 1) {
		y, m, day := at.Date()
		if events.NewDay(y, m, day) != d || events.DayOf(at) != d || !d.Date().Equal(at) {
			t.Fatalf("%s is day %d, %d, %s", at.Format(time.DateOnly), events.NewDay(y, m, day), events.DayOf(at), d.Date())
		}
		if got, err := events.ParseDay(d.String()); d.String() != at.Format(time.DateOnly) || err != nil || got != d {
			t.Fatalf("%s is written %s and read %d, %v", at.Format(time.DateOnly), d, got, err)
		}
		d++
	}
	// Days of a century: 146097 in 400 years (ISO 8601, the Gregorian calendar).
	if n := events.NewDay(2250, 1, 1) - events.NewDay(1850, 1, 1); n != 146097 {
		t.Errorf("400 years have %d days", n)
	}
}

func TestADayIsTheDateOnTheWallAndNotInUTC(t *testing.T) {
	late := time.Date(2026, 11, 25, 23, 30, 0, 0, time.FixedZone("", -5*3600)) // already the 26th in UTC
	if got := events.DayOf(late).String(); got != "2026-11-25" {
		t.Errorf("got %s", got)
	}
	w := events.AtTime(late)
	if w.String() != "2026-11-25T23:30:00-05:00" || !w.Time().Equal(late) {
		t.Errorf("got %s, %s", w, w.Time())
	}
}

func TestNewDayRunsOnPastTheEndOfAMonth(t *testing.T) {
	if got := events.NewDay(1968, 2, 30).String(); got != "1968-03-01" { // 1968 was a leap year
		t.Errorf("got %s", got)
	}
}

// RFC 3339 sections 5.6 and 5.8: the instant examples it gives, where they are
// whole seconds within our years.
func TestTimesAreReadAndWrittenAsInRFC3339(t *testing.T) {
	for _, s := range []string{"1996-12-19T16:39:57-08:00", "1990-12-31T23:59:59Z", "1937-01-01T12:00:27+00:20"} {
		w, err := events.ParseWhen(s, time.UTC)
		if err != nil || w.String() != s {
			t.Errorf("%s came back as %s, %v", s, w, err)
		}
		if want, _ := time.Parse(time.RFC3339, s); !w.Time().Equal(want) {
			t.Errorf("%s is the instant %s, want %s", s, w.Time(), want)
		}
	}
}

func TestParseWhenReadsWhatIsTypedAtABench(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for typed, want := range map[string]string{
		"2026-11-25":                "2026-11-25",
		"  2026-11-25 ":             "2026-11-25",
		"unknown":                   "unknown",
		"2026-11-25T14:30":          "2026-11-25T14:30:00-05:00",
		"2026-11-25 14:30":          "2026-11-25T14:30:00-05:00",
		"2026-07-25T14:30:07":       "2026-07-25T14:30:07-04:00", // summer time
		"2026-07-25 14:30:07":       "2026-07-25T14:30:07-04:00",
		"2026-11-25T14:30:00Z":      "2026-11-25T14:30:00Z",
		"2026-11-25T14:30:00+05:45": "2026-11-25T14:30:00+05:45",
		"1968-02-29":                "1968-02-29",
	} {
		w, err := events.ParseWhen(typed, newYork)
		if err != nil || w.String() != want || w.Validate() != nil {
			t.Errorf("%q is read as %s, %v; want %s", typed, w, err, want)
		}
	}
}

func TestParseWhenRefusesWhatIsNoTimeAndSaysWhatItWants(t *testing.T) {
	for _, typed := range []string{
		"", " ", "yesterday", "Unknown", "2026", "2026-11", "25.11.2026", "11/25/2026", "2026-11-25T", "2026-11-25T24:00",
		"2026-11-25T14:60", "2026-02-29", "2026-13-01", "2026-11-31", "2026-11-25T14:30:00+25:00", "2026-11-25T14:30+01:00 or so",
	} {
		w, err := events.ParseWhen(typed, time.UTC)
		if err == nil || w != (events.When{}) {
			t.Errorf("%q is read as %s, %v", typed, w, err)
			continue
		}
		if s := err.Error(); !strings.Contains(s, `"`+strings.TrimSpace(typed)+`"`) || !strings.Contains(s, "want a day like 2026-11-25") {
			t.Errorf("%q: message %q", typed, s)
		}
	}
	if _, err := events.ParseDay("25.11.2026"); err == nil || err.Error() != `day "25.11.2026": want a date like 2026-11-25` {
		t.Errorf("got %v", err)
	}
	var w events.When
	if w.UnmarshalText([]byte("soon")) == nil {
		t.Error("took a text that is no time")
	}
}

func TestWhenSaysHowMuchIsKnown(t *testing.T) {
	day := events.OnDay(events.NewDay(1987, 6, 5))
	if day.String() != "1987-06-05" || !day.Time().Equal(time.Date(1987, 6, 5, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("a day is %s, %s", day, day.Time())
	}
	if s := (events.When{}).String(); s != "unknown" {
		t.Errorf("nothing known is %q", s)
	}
	for offset, want := range map[int16]string{0: "Z", 1: "+00:01", -1: "-00:01", 345: "+05:45", -570: "-09:30", 1439: "+23:59", -1439: "-23:59"} {
		w := events.When{Precision: events.ToSecond, Offset: offset}
		if w.String() != "1970-01-01T00:00:00"+want {
			t.Errorf("offset %d is written %s, want %s", offset, w, want)
		}
	}
}

// Before zones there was local mean time, with seconds in the offset: the time
// on the wall stays, the instant is within the minute.
func TestAnOffsetWithSecondsKeepsTheTimeOnTheWall(t *testing.T) {
	lmt := time.Date(1880, 3, 4, 9, 10, 11, 0, time.FixedZone("LMT", -4*3600-56*60-2))
	w := events.AtTime(lmt)
	if w.Validate() != nil || w.String() != "1880-03-04T09:10:11-04:56" {
		t.Errorf("got %s", w)
	}
	if off := w.Time().Sub(lmt).Abs(); off >= time.Minute {
		t.Errorf("the instant is off by %s", off)
	}
}
