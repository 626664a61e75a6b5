package measure

import (
	"fmt"
	"strings"
)

// Raster is a band's channels: evenly spaced carriers in whole kHz.
type Raster struct {
	Name              string
	First, Last, Step int // kHz
	// FirstNumber is the channel number of First, or 0 where channels have none.
	FirstNumber int
}

// The rasters. A set built elsewhere needs its raster chosen: nothing on a dial
// scale tells 9 kHz from 10 kHz steps.
var (
	// AMRegion2 has 117 carriers of 10 kHz steps. Source: 47 CFR 73.14.
	AMRegion2 = Raster{"AM, 540 to 1700 kHz", 540, 1700, 10, 0}
	// AMRegion2Before1990 is the same without 1610 to 1700, which the conference
	// of Rio, 1988, added from 1 July 1990.
	AMRegion2Before1990 = Raster{"AM, 540 to 1600 kHz", 540, 1600, 10, 0}
	// AMRegions1And3 has 120 carriers of 9 kHz steps (531 from memory).
	AMRegions1And3 = Raster{"AM, 531 to 1602 kHz", 531, 1602, 9, 0}
	// FMUnitedStates has channels 200 to 300. Source: 47 CFR 73.201, and 73.501
	// for channel 200.
	FMUnitedStates = Raster{"FM, 87.9 to 107.9 MHz", 87900, 107900, 200, 200}
	// FMElsewhere has carriers of 100 kHz steps (from memory).
	FMElsewhere = Raster{"FM, 87.5 to 108 MHz in steps of 0.1", 87500, 108000, 100, 0}
)

// Band is AM or FM, the two that a dial's readings are checked in.
type Band string

// The bands.
const (
	AM Band = "AM"
	FM Band = "FM"
)

// Region is one of the three regions of the ITU: 1 is Europe and Africa, 2 the
// Americas, 3 Asia and Oceania.
type Region int

// AMRaster gives the AM raster of a set made for a region in a year; year 0 is
// unknown and takes the raster of today. A set made before 1990 ends near
// 1600 kHz, so its dial is never compared with a channel above. It refuses a
// region other than 1 to 3.
func AMRaster(region Region, year int) (Raster, error) {
	switch {
	case region == 1 || region == 3:
		return AMRegions1And3, nil
	case region == 2 && year != 0 && year < 1990:
		return AMRegion2Before1990, nil
	case region == 2:
		return AMRegion2, nil
	}
	return Raster{}, fmt.Errorf("AM raster for region %d: regions are 1 to 3", region)
}

// RegionNamed gives the region that a word names: americas, europe, africa, asia,
// oceania, or its number.
func RegionNamed(word string) (Region, error) {
	switch strings.ToLower(strings.TrimSpace(word)) {
	case "1", "europe", "africa":
		return 1, nil
	case "2", "americas", "america":
		return 2, nil
	case "3", "asia", "oceania", "australia":
		return 3, nil
	}
	return 0, fmt.Errorf("region %q: want americas, europe, africa, asia or oceania", word)
}

// RasterOf gives the raster of a set made for a region in a year; see AMRaster.
func RasterOf(b Band, region Region, year int) (Raster, error) {
	switch {
	case b != FM:
		return AMRaster(region, year)
	case region == 2:
		return FMUnitedStates, nil
	case region == 1 || region == 3:
		return FMElsewhere, nil
	}
	return Raster{}, fmt.Errorf("FM raster for region %d: regions are 1 to 3", region)
}

// DialError is a dial reading held against one channel.
type DialError struct {
	DialKHz    int
	StationKHz int
	Channel    int // its number, or 0 where the band has none
	// ErrorKHz is dial less station: positive means that the dial reads high.
	ErrorKHz int
}

// Percent is the error as a part of the station's frequency.
func (e DialError) Percent() float64 {
	return 100 * float64(e.ErrorKHz) / float64(e.StationKHz)
}

// Nearest holds a dial reading against the nearest channel, or against both
// where it lies halfway, the lower first. That is a guess at the station: it is
// worth something only while the error is well under half a step. Against takes
// the station when the person knows it. A reading beyond the band's end is held
// against the last channel. It refuses a reading that is not above zero.
func (r Raster) Nearest(dialKHz int) ([]DialError, error) {
	if dialKHz <= 0 {
		return nil, fmt.Errorf("nearest channel to %d kHz in %s: the reading must be above zero", dialKHz, r.Name)
	}
	at := min(max(dialKHz, r.First), r.Last)
	below := r.First + (at-r.First)/r.Step*r.Step
	above := min(below+r.Step, r.Last)
	switch {
	case at-below < above-at || above == below:
		return []DialError{r.errorAt(dialKHz, below)}, nil
	case at-below > above-at:
		return []DialError{r.errorAt(dialKHz, above)}, nil
	}
	return []DialError{r.errorAt(dialKHz, below), r.errorAt(dialKHz, above)}, nil
}

// Against holds a dial reading against a station the person knows. It refuses a
// station that is no channel of the raster.
func (r Raster) Against(dialKHz, stationKHz int) (DialError, error) {
	if stationKHz < r.First || stationKHz > r.Last || (stationKHz-r.First)%r.Step != 0 {
		return DialError{}, fmt.Errorf("dial at %d kHz against %d kHz: no channel of %s", dialKHz, stationKHz, r.Name)
	}
	return r.errorAt(dialKHz, stationKHz), nil
}

// Unsure reports whether the nearest channel is a poor guess at the station: the
// reading lies more than a quarter of a step from it, so that a dial that is off
// a little more would be held against the next. The quarter is this package's
// own.
func (r Raster) Unsure(e DialError) bool { return 4*max(e.ErrorKHz, -e.ErrorKHz) > r.Step }

func (r Raster) errorAt(dialKHz, stationKHz int) DialError {
	e := DialError{DialKHz: dialKHz, StationKHz: stationKHz, ErrorKHz: dialKHz - stationKHz}
	if r.FirstNumber != 0 {
		e.Channel = r.FirstNumber + (stationKHz-r.First)/r.Step
	}
	return e
}

// WholeKHz gives a dial reading in kHz for Nearest and Against, rounded to the
// nearest. It refuses a value that is not a frequency, or above 1 GHz.
func WholeKHz(v Value) (int, error) {
	if v.Unit != Hertz || v.Mant < 0 || v.Compare(Value{Mant: 1, Exp: 9}) > 0 {
		return 0, fmt.Errorf("dial reading %s: want a frequency up to 1 GHz", v.Canonical())
	}
	khz, exp := v.Mant, int(v.Exp)-3
	for ; exp > 0; exp-- {
		khz *= 10
	}
	by := int64(1)
	for ; exp < 0 && by < 1e18; exp++ {
		by *= 10
	}
	if exp < 0 {
		return 0, nil
	}
	return int(divideRounded(khz, by)), nil
}
