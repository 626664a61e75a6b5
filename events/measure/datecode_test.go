package measure_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/date_codes.csv: the trade body's example, published readings
// and week ranges computed outside the project.
func TestDateCodesAgreeWithTheReferenceTable(t *testing.T) {
	want := map[string][]map[string]string{}
	for _, row := range sharedtest.Rows(t, "checkdata/date_codes.csv") {
		want[row["code"]] = append(want[row["code"]], row)
	}
	for code, rows := range want {
		readings, err := measure.ReadDateCode(code, measure.UsualYears)
		if rows[0]["status"] == "reject" {
			if err == nil || len(readings) != 0 {
				t.Errorf("%q is read as %+v: %s", code, readings, rows[0]["note"])
			}
			continue
		}
		if err != nil || len(readings) != len(rows) {
			t.Errorf("%q: %d readings, %v; the table has %d", code, len(readings), err, len(rows))
			continue
		}
		for i, row := range rows {
			checkReading(t, readings[i], row)
		}
	}
}

func checkReading(t *testing.T, r measure.DateReading, row map[string]string) {
	t.Helper()
	layout, _, _ := strings.Cut(row["layout"], " ")
	monday, sunday, iso := measure.ISOWeek(r.Year, r.Week)
	isoMonday, isoSunday := "", ""
	if iso {
		isoMonday, isoSunday = monday.Format(time.DateOnly), sunday.Format(time.DateOnly)
	}
	got := []string{r.Layout, fmt.Sprint(r.Year), fmt.Sprint(r.Week), r.From.Format(time.DateOnly), r.To.Format(time.DateOnly), isoMonday, isoSunday}
	want := []string{layout, row["candidate_year"], row["week"], row["earliest_any_rule"], row["latest_any_rule"], row["iso_monday"], row["iso_sunday"]}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("%s: got %v, the table has %v", row["code"], got, want)
	}
	if r.NotISO != (row["status"] == "ok-not-iso") {
		t.Errorf("%s in %d: not an ISO week: %v, the table says %s", row["code"], r.Year, r.NotISO, row["status"])
	}
	digits := strings.NewReplacer("-", "", " ", "").Replace(row["code"])
	if !strings.HasPrefix(digits, r.Maker) || len(r.Maker) != int(layout[0]-'0') {
		t.Errorf("%s: number %s", row["code"], r.Maker)
	}
}

// Source: checkdata/iso_weeks.csv, ISO 8601 dates computed outside the project.
func TestISOWeeksHoldTheirDays(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/iso_weeks.csv") {
		date, err := time.Parse(time.DateOnly, row["date"])
		if err != nil {
			t.Fatal(err)
		}
		var year, week, day int
		if _, err := fmt.Sscanf(row["iso_week_date"], "%d-W%d-%d", &year, &week, &day); err != nil {
			t.Fatal(err)
		}
		monday, sunday, ok := measure.ISOWeek(year, week)
		if !ok || !monday.AddDate(0, 0, day-1).Equal(date) || sunday.Sub(monday) != 6*24*time.Hour || monday.Weekday() != time.Monday {
			t.Errorf("%s: week %d of %d is %s to %s, %v", row["date"], week, year, monday, sunday, ok)
		}
	}
}

// Source: the list of years with 53 weeks in the reference facts (ISO 8601).
func TestOnlyLongYearsHaveWeek53(t *testing.T) {
	long := "1942 1948 1953 1959 1964 1970 1976 1981 1987 1992 1998"
	for year := 1940; year < 2000; year++ {
		if _, _, ok := measure.ISOWeek(year, 53); ok != strings.Contains(long, fmt.Sprint(year)) {
			t.Errorf("%d has 53 weeks: %v", year, ok)
		}
	}
}

func TestDateCodesAreReadInEveryLayoutAndOtherwiseNamed(t *testing.T) {
	for code, want := range map[string]string{
		"134 6320": "3+2+2 1963", "134-63-20": "3+2+2 1963", "13406320": "4+2+2 1963", "1340-6320": "4+2+2 1963",
		"1340-6-20": "4+1+2 1946", "606421": "3+1+2 1954", "606-421": "3+1+2 1954", " 606-421 ": "3+1+2 1954",
	} {
		readings, err := measure.ReadDateCode(code, measure.UsualYears)
		if err != nil || fmt.Sprint(readings[0].Layout, " ", readings[0].Year) != want {
			t.Errorf("%q: %+v, %v; want %s first", code, readings, err, want)
		}
	}
	for code, why := range map[string]string{
		"":            "it is empty",
		" - ":         "it is empty",
		"113-63O2":    "'O' is not a digit",
		"113-6300":    "week 00, weeks are 01 to 53",
		"113-6354":    "week 54, weeks are 01 to 53",
		"113-63":      "want a year of one or two digits and a week of two",
		"13-6320":     "number 13 has 2 digits, want three or four",
		"12345":       "5 digits, want six to eight",
		"123456789":   "9 digits, want six to eight",
		"113-6-3-20":  "want number, year and week",
		"113-632-0":   "want number, year and week",
		"113-6320-01": "want number, year and week",
	} {
		if r, err := measure.ReadDateCode(code, measure.UsualYears); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q: %+v, %v; want %s", code, r, err, why)
		}
	}
}

func TestAWindowNarrowsOneDigitYearsAndMarksOthers(t *testing.T) {
	narrow := measure.YearWindow{First: 1960, Last: 1969}
	r, err := measure.ReadDateCode("606-4-21", narrow)
	if err != nil || len(r) != 1 || r[0].Year != 1964 || r[0].Outside {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err := measure.ReadDateCode("606-4-21", measure.YearWindow{First: 1965, Last: 1969}); err == nil {
		t.Errorf("a window without a year ending in 4 gives %+v", r)
	}
	r, err = measure.ReadDateCode("113-9910", narrow)
	if err != nil || len(r) != 1 || r[0].Year != 1999 || !r[0].Outside {
		t.Errorf("%+v, %v", r, err)
	}
}

// Source: the worked example in the reference facts: week 5 of 1964 starts
// nominally on January 29, less six days.
func TestASetIsNoOlderThanItsNewestOriginalPart(t *testing.T) {
	parts := []measure.DatedPart{
		{Name: "T1", Code: "134-6320"}, {Name: "V3", Code: "134-6338"},
		{Name: "LS1", Code: "134-6405"}, {Name: "C4", Code: "134-7812", Replaced: true}, {Name: "R9", Code: "134-6360"},
	}
	b, err := measure.BuiltNoEarlierThan(parts, measure.UsualYears)
	if err != nil || b.Day.Format(time.DateOnly) != "1964-01-23" || len(b.Later) != 0 {
		t.Fatalf("%+v, %v", b, err)
	}
	// Week 38 of 1963 starts nominally on September 17, less six days.
	if b.Newest.Part.Name != "LS1" || b.Second.Part.Name != "V3" || b.Second.Reading.From.Format(time.DateOnly) != "1963-09-11" || b.GapDays != 134 {
		t.Errorf("newest %+v, second %+v, %d days", b.Newest, b.Second, b.GapDays)
	}
	if len(b.LeftOut) != 2 || b.LeftOut[0] != "C4: replaced" || !strings.Contains(b.LeftOut[1], "week 60") {
		t.Errorf("left out %q", b.LeftOut)
	}
	parts[3].Replaced = false
	if b, err := measure.BuiltNoEarlierThan(parts, measure.UsualYears); err != nil || b.Newest.Part.Name != "C4" || b.GapDays < 5000 {
		t.Errorf("the later part counts once it is original: %+v, %v", b, err)
	}
}

// Worked by hand from the rule: earliest reading of each part, then the rest.
func TestOneDigitYearsBoundByTheirEarliestAndListTheRest(t *testing.T) {
	b, err := measure.BuiltNoEarlierThan([]measure.DatedPart{
		{Name: "T1", Code: "606-4-21"}, {Name: "T2", Code: "134-6320"},
	}, measure.UsualYears)
	if err != nil || b.Day.Format(time.DateOnly) != "1963-05-08" || b.Newest.Part.Name != "T2" {
		t.Fatalf("%+v, %v", b, err)
	}
	var later []string
	for _, day := range b.Later {
		later = append(later, day.Format(time.DateOnly))
	}
	if got := strings.Join(later, " "); got != "1964-05-14 1974-05-15 1984-05-14" {
		t.Errorf("later bounds %s", got)
	}
	for _, none := range [][]measure.DatedPart{nil, {{Name: "C4", Code: "134-6320", Replaced: true}}, {{Name: "C4", Code: "x"}}} {
		if b, err := measure.BuiltNoEarlierThan(none, measure.UsualYears); err == nil || len(b.LeftOut) != len(none) {
			t.Errorf("%+v dates a set: %+v, %v", none, b, err)
		}
	}
}
