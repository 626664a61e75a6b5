package measure_test

import (
	"strings"
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/tuner_checks.csv (47 CFR 73.14, 73.201, 73.501).
func TestDialErrorsAgreeWithTheReferenceTable(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/tuner_checks.csv") {
		raster := measure.AMRegion2
		if row["band"] == "FM" {
			raster = measure.FMUnitedStates
		}
		found, err := raster.Nearest(whole(t, row["dial_khz"]))
		stations := strings.Split(row["nearest_khz"], "|")
		if err != nil || len(found) != len(stations) {
			t.Errorf("%s %s: %+v, %v; the table has %s", row["band"], row["dial_khz"], found, err, row["nearest_khz"])
			continue
		}
		for i, e := range found {
			off := strings.Split(row["error_khz"], "|")[i]
			if e.StationKHz != whole(t, stations[i]) || e.ErrorKHz != whole(t, off) || e.DialKHz != whole(t, row["dial_khz"]) {
				t.Errorf("%s: %+v, the table has %s, %s", row["dial_khz"], e, stations[i], off)
			}
			agrees(t, row["dial_khz"]+" percent", e.Percent(), strings.Split(row["error_percent"], "|")[i])
			channel := "0"
			if row["fm_channel"] != "" {
				channel = strings.Split(row["fm_channel"], "|")[i]
			}
			if e.Channel != whole(t, channel) {
				t.Errorf("%s: channel %d, the table has %s", row["dial_khz"], e.Channel, channel)
			}
		}
	}
}

// Source: 47 CFR 73.14 for 117 carriers, 107 up to 1600 and 120 of 9 kHz from
// the reference facts, 47 CFR 73.201 for channels 201 to 300.
func TestRastersHaveTheirPublishedChannels(t *testing.T) {
	for _, c := range []struct {
		raster measure.Raster
		count  int
	}{
		{measure.AMRegion2, 117}, {measure.AMRegion2Before1990, 107}, {measure.AMRegions1And3, 120}, {measure.FMUnitedStates, 101},
	} {
		r := c.raster
		seen := 0
		for khz := r.First; khz <= r.Last; khz += r.Step {
			found, err := r.Nearest(khz)
			if err != nil || len(found) != 1 || found[0].ErrorKHz != 0 || found[0].StationKHz != khz {
				t.Errorf("%s: %d gives %+v, %v", r.Name, khz, found, err)
			}
			seen++
		}
		if seen != c.count || (r.Last-r.First)%r.Step != 0 {
			t.Errorf("%s has %d channels, want %d", r.Name, seen, c.count)
		}
	}
	for khz, channel := range map[int]int{88100: 201, 92100: 221, 97900: 250, 100500: 263, 107900: 300} {
		if found, err := measure.FMUnitedStates.Nearest(khz); err != nil || found[0].Channel != channel {
			t.Errorf("%d kHz: %+v, %v; want channel %d", khz, found, err, channel)
		}
	}
}

// Source: the conference of Rio 1988, effective 1 July 1990 (reference facts).
func TestASetFromBeforeTheNewChannelsIsNeverHeldAgainstOne(t *testing.T) {
	for _, c := range []struct {
		region measure.Region
		year   int
		last   int
	}{{2, 1964, 1600}, {2, 1989, 1600}, {2, 1990, 1700}, {2, 0, 1700}, {1, 1964, 1602}, {3, 0, 1602}} {
		r, err := measure.AMRaster(c.region, c.year)
		if err != nil || r.Last != c.last {
			t.Errorf("region %d, %d: %+v, %v; want the last at %d", c.region, c.year, r, err, c.last)
		}
	}
	old, _ := measure.AMRaster(2, 1964)
	if found, err := old.Nearest(1612); err != nil || len(found) != 1 || found[0].StationKHz != 1600 || found[0].ErrorKHz != 12 {
		t.Errorf("1612 on a set of 1964: %+v, %v", found, err)
	}
	if r, err := measure.AMRaster(4, 1964); err == nil {
		t.Errorf("region 4 has %+v", r)
	}
}

func TestAKnownStationBeatsTheNearestChannel(t *testing.T) {
	e, err := measure.AMRegion2.Against(663, 650)
	if err != nil || e.ErrorKHz != 13 {
		t.Errorf("%+v, %v", e, err)
	}
	for _, station := range []int{655, 530, 1710} {
		if e, err := measure.AMRegion2.Against(663, station); err == nil {
			t.Errorf("%d kHz is taken for a channel: %+v", station, e)
		}
	}
	for _, dial := range []int{0, -5} {
		if found, err := measure.AMRegion2.Nearest(dial); err == nil {
			t.Errorf("a dial at %d gives %+v", dial, found)
		}
	}
}

func TestADialReadingComesToWholeKHz(t *testing.T) {
	for text, want := range map[string]int{"94.62 MHz": 94620, "663 kHz": 663, "663.5 kHz": 664, "1.0044 MHz": 1004, "0.3 Hz": 0, "0 Hz": 0} {
		if got, err := measure.WholeKHz(value(t, text, measure.Frequency)); err != nil || got != want {
			t.Errorf("%s is %d kHz, %v; want %d", text, got, err, want)
		}
	}
	for _, v := range []measure.Value{value(t, "12 V", measure.Voltage), value(t, "-5 kHz", measure.Frequency), value(t, "2 GHz", measure.Frequency)} {
		if got, err := measure.WholeKHz(v); err == nil {
			t.Errorf("%s is %d kHz", v.Canonical(), got)
		}
	}
}
