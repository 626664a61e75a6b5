package measure_test

import (
	"errors"
	"strings"
	"testing"

	"oldhand/events/measure"
)

// Source: IEC 60062 (from memory); the first three are also rows of
// checkdata/value_parsing.csv. The reliability band is from memory.
func TestColourBandsAreReadByTheirNumber(t *testing.T) {
	for bands, want := range map[string]string{
		"yellow violet red gold":              "4.7 kΩ ±5 %",
		"brown black green":                   "1 MΩ ±20 %",
		"brown green black brown brown":       "1.5 kΩ ±1 %",
		"brown black black none":              "10 Ω ±20 %",
		"red red gold silver":                 "2.2 Ω ±10 %",
		"Orange Orange SILVER red":            "0.33 Ω ±2 %",
		"grey red black orange green":         "820 kΩ ±0.5 %",
		"gray red black orange blue":          "820 kΩ ±0.25 %",
		"white brown black black violet":      "910 Ω ±0.1 %",
		"brown black black red brown red":     "10 kΩ ±1 %",
		"brown black black red purple yellow": "10 kΩ ±0.1 %",
	} {
		v, tol, err := measure.Colours(strings.Fields(bands))
		if got := v.Canonical() + " " + tol.String(); err != nil || got != want || v.Text != bands {
			t.Errorf("%s: %s, %v, text %q; want %s", bands, got, err, v.Text, want)
		}
	}
}

func TestColourBandsThatMeanNothingAreRefusedByPlace(t *testing.T) {
	for bands, why := range map[string]string{
		"gold red violet yellow":        "band 1 can't be gold; read from the other end?",
		"black brown red":               "band 1 can't be black; read from the other end?",
		"red silver brown":              "band 2 can't be silver",
		"red red none gold":             "band 3 can't be none",
		"red red red yellow":            "band 4: yellow is not a tolerance",
		"red red":                       "2 bands; want three to six",
		"red red mauve":                 `"mauve" is not a colour of the code`,
		"body red end violet dot brown": "body, end and dot paint has an order of its own",
		"red red red red red red red":   "7 bands",
	} {
		v, tol, err := measure.Colours(strings.Fields(bands))
		if err == nil || !strings.Contains(err.Error(), why) || v.Mant != 0 && tol.Given() || v.Text != bands {
			t.Errorf("%s: %+v %v, %v; want %s", bands, v, tol, err, why)
		}
	}
}

func TestAFifthBandBehindGoldIsAsked(t *testing.T) {
	_, _, err := measure.Colours([]string{"red", "red", "brown", "gold", "brown"})
	var ask *measure.Ambiguous
	if !errors.As(err, &ask) || len(ask.Readings) != 2 ||
		ask.Readings[0].Canonical() != "22.1 Ω" || ask.Readings[1].Canonical() != "220 Ω" {
		t.Errorf("%v", err)
	}
}
