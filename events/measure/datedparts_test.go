package measure_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/events/measure"
)

// How codes are listed is this package's own; the codes are those of the worked
// example in the reference facts.
func TestCodesAreReadAsAPersonListsThem(t *testing.T) {
	for text, want := range map[string]string{
		"":                                   "",
		"274-6342":                           "274-6342|274-6342",
		"113 5701":                           "113 5701|113 5701",
		"T1 134-6320, LS1=134-6405":          "T1|134-6320 LS1|134-6405",
		"T1=113 5701;\nC4 134-7812 replaced": "T1|113 5701 C4|134-7812|replaced",
		"134-7812 (Replaced), , 606-4-21":    "134-7812|134-7812|replaced 606-4-21|606-4-21",
		"replaced":                           "replaced|replaced",
	} {
		var got []string
		for _, p := range measure.ReadDatedParts(text) {
			s := p.Name + "|" + p.Code
			if p.Replaced {
				s += "|replaced"
			}
			got = append(got, s)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q is read as %q, want %q", text, got, want)
		}
	}
}

func built(t *testing.T, text string) measure.BuiltAfter {
	t.Helper()
	b, err := measure.BuiltNoEarlierThan(measure.ReadDatedParts(text), measure.UsualYears)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Source: the worked example in the reference facts, section on date codes: parts
// of 1963-W20, 1963-W38 and 1964-W05 original, 1978-W12 replaced, give 1964-01-23.
func TestASetGetsTheYearOfItsNewestOriginalPartProposed(t *testing.T) {
	b := built(t, "T1 134-6320, V3 134-6338, LS1 134-6405, C4 134-7812 replaced")
	if b.Day.Format(time.DateOnly) != "1964-01-23" || b.Year() != 1964 || b.Counted != 3 || b.LoneNewest() || len(b.LaterYears()) != 0 {
		t.Errorf("%+v, year %d, alone %v", b, b.Year(), b.LoneNewest())
	}
	b = built(t, "T1 134-6320, V3 134-6338, LS1 134-6405, C4 134-7812")
	if b.Year() != 1978 || !b.LoneNewest() || b.GapDays < 5000 {
		t.Errorf("with the later part original: %d, alone %v, gap %d", b.Year(), b.LoneNewest(), b.GapDays)
	}
	if two := built(t, "T1 134-6320, C4 134-7812"); two.LoneNewest() {
		t.Error("of two parts either may be the original one")
	}
	// Week 1 begins in the year before (reference table); the code's year stands.
	if b := built(t, "113 5701"); b.Day.Format(time.DateOnly) != "1956-12-26" || b.Year() != 1957 {
		t.Errorf("%s, year %d", b.Day, b.Year())
	}
	if b := built(t, "606-4-21, 134-6320"); b.Year() != 1963 || !slices.Equal(b.LaterYears(), []int{1964, 1974, 1984}) {
		t.Errorf("year %d, or %v", b.Year(), b.LaterYears())
	}
}

func TestAStatedYearIsContradictedOnlyByAYoungerPart(t *testing.T) {
	b := built(t, "T1 134-6320, LS1 134-6405")
	for years, want := range map[[2]int]bool{{0, 0}: false, {1963, 1963}: true, {1963, 0}: true, {1962, 1964}: false, {1964, 0}: false, {1971, 1975}: false} {
		if got := b.Contradicts(years[0], years[1]); got != want {
			t.Errorf("%v beside parts of 1964: %v", years, got)
		}
	}
}

// Source: the trade body's example (reference facts): 113-9910 is March 7 to 13
// of 1999.
func TestTheTradeBodysOwnWeekLiesInTheNineteenDays(t *testing.T) {
	r, err := measure.ReadDateCode("113-9910", measure.UsualYears)
	if err != nil || len(r) != 1 {
		t.Fatal(r, err)
	}
	for _, day := range []string{"1999-03-07", "1999-03-13"} {
		d, err := time.Parse(time.DateOnly, day)
		if err != nil || d.Before(r[0].From) || d.After(r[0].To) {
			t.Errorf("%s is not within %s", day, fmt.Sprint(r[0].From, " to ", r[0].To))
		}
	}
	if days := r[0].To.Sub(r[0].From).Hours()/24 + 1; days != 19 {
		t.Errorf("%v days", days)
	}
}
