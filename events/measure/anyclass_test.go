package measure_test

import (
	"strings"
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// The readings as one class are those of IEC 60062 and old US practice (reference
// facts); which of them are a question follows from there being several.
func TestAMarkingOfNoSaidPartIsReadAsEachThatItCanBe(t *testing.T) {
	for text, want := range map[string]string{
		"50-30-30 MFD 450V":      "C 50 µF 30 µF 30 µF",
		"104K":                   "C 0.1 µF, R 104 kΩ",
		"100K":                   "C 10 pF, R 100 kΩ",
		"4K7":                    "R 4.7 kΩ",
		"470R":                   "R 470 Ω",
		"2u2":                    "C 2.2 µF, L 2.2 µH",
		"250 MMF":                "C 250 pF",
		"1 MEG":                  "R 1 MΩ",
		"yellow violet red gold": "R 4.7 kΩ",
		"10 mH":                  "L 10 mH",
		"1/2 A":                  "F 500 mA",
		"10.7 MC":                "Y 10.7 MHz",
		"470":                    "C asks, R 470 Ω",
	} {
		all, err := measure.ParseAnyClass(text)
		if err != nil {
			t.Error(err)
			continue
		}
		var got []string
		for _, c := range all {
			s := c.Class
			for _, v := range c.Part.Sections {
				s += " " + v.Canonical()
			}
			if c.Ask != nil {
				s += " asks"
			}
			got = append(got, s)
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%q is %v, want %s", text, got, want)
		}
	}
	for text, why := range map[string]string{
		"": "there is no value in it", "electrolytic": "there is no value in it", "X7R": "X7R",
		"body red end violet": "body, end and dot", "mauve red red": "there is no value in it", "red red": "2 bands",
	} {
		if all, err := measure.ParseAnyClass(text); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q: %+v, %v; want %s", text, all, err, why)
		}
	}
}

// Source: checkdata/value_parsing.csv: with no class said, the table's class is
// always among the readings, with the same value.
func TestTheReferenceTablesReadingIsAlwaysAmongThem(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/value_parsing.csv") {
		all, err := measure.ParseAnyClass(row["marking"])
		if err != nil {
			t.Error(err)
		}
		found := false
		for _, c := range all {
			if c.Class == row["kind"] && len(c.Part.Sections) == 1 {
				found = true
				agrees(t, row["marking"], c.Part.Sections[0].Float()*1e12, trimExp(t, row["expected_si"]))
			}
		}
		if !found {
			t.Errorf("%s is read as %+v, without %s", row["marking"], all, row["kind"])
		}
	}
}

// trimExp is a cell a million million times, without an exponent.
func trimExp(t *testing.T, cell string) string {
	t.Helper()
	v := value(t, cell, measure.Number)
	v.Exp += 12
	return v.Canonical()
}

// Source: IEC 60063 (from memory): E6 for 20 %, E12 for 10, E24 for 5, E48 for 2,
// E96 for 1.
func TestATolerancesSeriesIsTheOneMadeForIt(t *testing.T) {
	for text, want := range map[string]string{
		"brown black green": "E6", "104K": "E12", "yellow violet red gold": "E24", "470RG": "E48", "brown green black brown brown": "E96",
		"4p7C": "", "103Z": "", "4K7": "",
	} {
		all, err := measure.ParseAnyClass(text)
		if err != nil {
			t.Fatal(err)
		}
		if got := measure.SeriesFor(all[0].Part.Tolerance); got != want {
			t.Errorf("%s belongs to %q, want %q", text, got, want)
		}
	}
}
