package workdays_test

import (
	"strconv"
	"testing"

	"oldhand/cmd/internal/workdays"
	"oldhand/events"
	"oldhand/events/sharedtest"
)

func day(t *testing.T, s string) events.Day {
	t.Helper()
	d, err := events.ParseDay(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func calendar(t *testing.T, rule string, own ...events.ShopDay) *workdays.Calendar {
	t.Helper()
	c, err := workdays.New(rule, own)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Source: 5 U.S.C. 6103, by shared/checkdata/us_federal_holidays.csv.
func TestFederalHolidaysAreKeptOnTheDaysTheLawSays(t *testing.T) {
	c := calendar(t, "us")
	kept := map[events.Day]bool{}
	for _, row := range sharedtest.Rows(t, "checkdata/us_federal_holidays.csv") {
		d := day(t, row["observed"])
		kept[d] = true
		if c.Works(d) {
			t.Errorf("%s of %s is kept on %s, and the shop would work", row["name"], row["year"], row["observed"])
		}
	}
	first, last, works := day(t, "2020-01-01"), day(t, "2026-12-31"), 0
	for d := first; d <= last; d++ {
		if wd := d.Date().Weekday(); wd == 0 || wd == 6 || kept[d] {
			continue
		}
		if works++; !c.Works(d) {
			t.Errorf("%s is taken for a holiday", d)
		}
	}
	if n := c.Count(first, last+1); n != works {
		t.Errorf("%d working days in seven years, want %d", n, works)
	}
}

// Source: NumPy busday_count, by shared/facts.md 12.
func TestWorkingDaysAreCountedFromReceivedUpToShipped(t *testing.T) {
	for _, c := range []struct {
		from, to               string
		calendar, weekdays, us int
	}{
		{"2026-11-23", "2026-12-04", 11, 9, 8},
		{"2021-12-22", "2022-01-04", 13, 9, 7},
		{"2026-07-01", "2026-07-07", 6, 4, 3},
		{"2024-02-26", "2024-03-04", 7, 5, 5},
	} {
		from, to := day(t, c.from), day(t, c.to)
		if n := int(to - from); n != c.calendar {
			t.Errorf("%s to %s: %d days", c.from, c.to, n)
		}
		for rule, want := range map[string]int{"weekdays": c.weekdays, "us": c.us} {
			if n := calendar(t, rule).Count(from, to); n != want {
				t.Errorf("%s to %s by %s: %s days, want %d", c.from, c.to, rule, strconv.Itoa(n), want)
			}
		}
	}
}

func TestTheShopsOwnDaysStandOverTheCalendar(t *testing.T) {
	thanksgiving, monday := day(t, "2026-11-26"), day(t, "2026-11-30")
	c := calendar(t, "us", events.ShopDay{Day: thanksgiving, Open: true}, events.ShopDay{Day: monday}, events.ShopDay{Day: monday + 1}, events.ShopDay{Day: monday + 1, Open: true})
	if !c.Works(thanksgiving) || c.Works(monday) || !c.Works(monday+1) {
		t.Error("a day the shop said is counted as the calendar has it")
	}
	if n := c.Count(day(t, "2026-11-23"), day(t, "2026-12-04")); n != 8 {
		t.Errorf("%d days: one more for Thanksgiving, one less for the Monday", n)
	}
}

func TestAnUnknownRuleIsRefusedByName(t *testing.T) {
	if _, err := workdays.New("moon", nil); err == nil {
		t.Error("taken")
	}
}
