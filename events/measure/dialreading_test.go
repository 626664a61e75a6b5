package measure_test

import (
	"errors"
	"strings"
	"testing"

	"oldhand/events/measure"
)

// The readings are those of the reference facts, section on broadcast channels.
func TestADialIsReadAsAPersonSaysIt(t *testing.T) {
	for text, want := range map[string]measure.DialReading{
		"AM 663":                  {Band: measure.AM, KHz: 663},
		"am663 kHz":               {Band: measure.AM, KHz: 663},
		"663":                     {Band: measure.AM, KHz: 663},
		"1.004 MHz":               {Band: measure.AM, KHz: 1004},
		"AM 663=650":              {Band: measure.AM, KHz: 663, StationKHz: 650},
		"94.62":                   {Band: measure.FM, KHz: 94620},
		"94.62=94.7":              {Band: measure.FM, KHz: 94620, StationKHz: 94700},
		"FM 94,62 MC = 94700 kHz": {Band: measure.FM, KHz: 94620, StationKHz: 94700},
		"FM 104.27 = FM 104.3":    {Band: measure.FM, KHz: 104270, StationKHz: 104300},
		" fm 88 ":                 {Band: measure.FM, KHz: 88000},
	} {
		got, err := measure.ReadDial(text)
		want.Text = text
		if err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", text, got, err, want)
		}
	}
	for text, why := range map[string]string{
		"":             "no number found",
		"AM":           "no number found",
		"stuck":        "no number found",
		"455 kHz":      "neither between 500 and 1800 kHz",
		"AM 94.62 MHz": "94.62 MHz is not on AM, 500 to 1800 kHz",
		"FM 660 kHz":   "660 kHz is not on FM",
		"AM 663=94.7":  "station: 94.7 kHz is not on AM",
		"AM 663=FM 94": "the reading is on AM and the station on FM",
		"AM 663=":      `station: read "" as frequency: no number found`,
		"12 V":         `"V" is not a unit of frequency`,
	} {
		if got, err := measure.ReadDial(text); err == nil || !strings.Contains(err.Error(), why) || got != (measure.DialReading{Text: text}) {
			t.Errorf("%q: %+v, %v; want %s", text, got, err, why)
		}
	}
	var ask *measure.Ambiguous
	if _, err := measure.ReadDial("AM 1,004"); !errors.As(err, &ask) {
		t.Errorf("a comma that may be either is not asked for: %v", err)
	}
}

// Source: the facts on regions; 100 kHz steps outside the Americas from memory.
func TestARegionIsNamedByItsWordAndChoosesTheRaster(t *testing.T) {
	for _, c := range []struct {
		word string
		band measure.Band
		year int
		last int
		step int
	}{
		{"Americas", measure.AM, 1962, 1600, 10}, {"americas", measure.AM, 0, 1700, 10}, {"2", measure.FM, 1962, 107900, 200},
		{"europe", measure.AM, 1962, 1602, 9}, {"Africa", measure.FM, 0, 108000, 100}, {"asia", measure.AM, 0, 1602, 9}, {"oceania", measure.FM, 0, 108000, 100},
	} {
		region, err := measure.RegionNamed(c.word)
		if err != nil {
			t.Fatal(err)
		}
		if r, err := measure.RasterOf(c.band, region, c.year); err != nil || r.Last != c.last || r.Step != c.step {
			t.Errorf("%s %s %d: %+v, %v", c.word, c.band, c.year, r, err)
		}
	}
	if r, err := measure.RegionNamed("moon"); err == nil {
		t.Errorf("the moon is region %d", r)
	}
	for _, b := range []measure.Band{measure.AM, measure.FM} {
		if r, err := measure.RasterOf(b, 7, 0); err == nil {
			t.Errorf("%s in region 7 has %+v", b, r)
		}
	}
}

func TestANearestChannelIsAPoorGuessBeyondAQuarterOfAStep(t *testing.T) {
	for dial, want := range map[int]bool{660: false, 662: false, 663: true, 657: true, 665: true, 1716: true} {
		found, err := measure.AMRegion2.Nearest(dial)
		if err != nil || measure.AMRegion2.Unsure(found[0]) != want {
			t.Errorf("%d kHz against %+v is unsure: %v", dial, found, !want)
		}
	}
}

func FuzzReadDial(f *testing.F) {
	for _, text := range []string{"AM 663", "94.62=94.7", "FM 94,62 MC = 94700 kHz", "=", "AM=", "1e+99", "AM -5", "fm"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := measure.ReadDial(text)
		if r.Text != text || err == nil && (r.KHz < 500 || r.KHz > 120000 || r.Band == "") {
			t.Fatalf("%q: %+v, %v", text, r, err)
		}
	})
}
