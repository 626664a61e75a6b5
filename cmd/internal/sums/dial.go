package sums

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"oldhand/events/measure"
)

// DialTyped are readings of one set's dial.
type DialTyped struct {
	Readings []string // like "AM 663" or "94.62=94.7"
	Region   string   // a word of measure.RegionNamed; empty for the Americas
	Year     int      // in which the set was made; 0 for not known
	Readable int      // how closely the dial is read, in kHz; 0 for what is usual of its band
}

// Dial is the readings against their stations, and what they say together.
type Dial struct {
	Readings []DialLine `json:"readings"`
	Bands    []DialBand `json:"bands,omitempty"`
}

// DialLine is one reading. Of a reading halfway between two channels both stand in
// Against.
type DialLine struct {
	Text    string        `json:"text"`
	Band    measure.Band  `json:"band,omitempty"`
	DialKHz int           `json:"dial_khz,omitempty"`
	Against []DialAgainst `json:"against,omitempty"`
	Known   bool          `json:"station_known"`
	Unsure  bool          `json:"poor_guess,omitempty"` // the nearest channel is a poor guess at the station
	Unread  string        `json:"unread,omitempty"`
}

// DialAgainst is a reading held against a channel; positive errors read high.
type DialAgainst struct {
	StationKHz int     `json:"station_khz"`
	Channel    int     `json:"channel,omitempty"`
	ErrorKHz   int     `json:"error_khz"`
	Percent    float64 `json:"error_percent"`
}

// off is the error with its sign; none where there is no error.
func (a DialAgainst) off() string {
	if a.ErrorKHz == 0 {
		return "0 kHz"
	}
	return fmt.Sprintf("%+d kHz", a.ErrorKHz)
}

// DialBand is what the readings of one band say together.
type DialBand struct {
	Band     measure.Band `json:"band"`
	Raster   string       `json:"raster"`
	FirstKHz int          `json:"first_khz"`
	LastKHz  int          `json:"last_khz"`
	Finding  string       `json:"finding"` // too few, true, offset, tracking, scattered
	Count    int          `json:"readings"`
	LowKHz   int          `json:"low_khz"`
	HighKHz  int          `json:"high_khz"`
	// AtLow and AtHigh are the fitted error at the outermost stations, in kHz.
	AtLow    float64 `json:"error_at_low_khz"`
	AtHigh   float64 `json:"error_at_high_khz"`
	Mean     float64 `json:"mean_error_khz"`
	Scatter  float64 `json:"scatter_khz"`
	Readable int     `json:"readable_khz"`

	found measure.DialFinding
}

// ReadDial holds readings against their stations. It refuses none at all, a region
// that it does not know, and readings of which not one can be read.
func ReadDial(in DialTyped) (d Dial, err error) {
	if len(in.Readings) == 0 {
		return d, errors.New("read a dial: there are no readings")
	}
	region, err := measure.RegionNamed(cmp.Or(in.Region, "americas"))
	if err != nil {
		return d, err
	}
	read := 0
	for _, text := range in.Readings {
		l := dialLine(text, region, in.Year)
		if l.Unread == "" {
			read++
		}
		d.Readings = append(d.Readings, l)
	}
	if read == 0 {
		return d, nothing(d.Told().Unread)
	}
	for _, b := range []measure.Band{measure.AM, measure.FM} {
		if band, ok := d.fit(b, region, in); ok {
			d.Bands = append(d.Bands, band)
		}
	}
	return d, nil
}

func dialLine(text string, region measure.Region, year int) DialLine {
	l := DialLine{Text: text}
	r, err := measure.ReadDial(text)
	if err != nil {
		l.Unread = err.Error()
		return l
	}
	raster, err := measure.RasterOf(r.Band, region, year)
	var found []measure.DialError
	if err == nil && r.StationKHz != 0 {
		var e measure.DialError
		e, err = raster.Against(r.KHz, r.StationKHz)
		found = []measure.DialError{e}
	} else if err == nil {
		found, err = raster.Nearest(r.KHz)
	}
	if err != nil {
		l.Unread = fmt.Sprintf("read dial %q: %v", text, err)
		return l
	}
	l.Band, l.DialKHz, l.Known = r.Band, r.KHz, r.StationKHz != 0
	for _, e := range found {
		l.Against = append(l.Against, DialAgainst{e.StationKHz, e.Channel, e.ErrorKHz, math.Round(1e6*e.Percent()) / 1e6})
		l.Unsure = l.Unsure || !l.Known && raster.Unsure(e)
	}
	return l
}

// fit lays a line through a band's readings, without ties: of those nobody knows
// which station was heard.
func (d Dial) fit(b measure.Band, region measure.Region, in DialTyped) (out DialBand, ok bool) {
	raster, err := measure.RasterOf(b, region, in.Year)
	if err != nil {
		return out, false // ReadDial refused it
	}
	var errs []measure.DialError
	for _, l := range d.Readings {
		if l.Band == b && len(l.Against) == 1 {
			a := l.Against[0]
			errs = append(errs, measure.DialError{DialKHz: l.DialKHz, StationKHz: a.StationKHz, Channel: a.Channel, ErrorKHz: a.ErrorKHz})
		}
	}
	readable := cmp.Or(in.Readable, b.Readable())
	f, err := raster.FitDial(errs, readable)
	if err != nil && !d.has(b) {
		return out, false
	}
	return DialBand{Band: b, Raster: raster.Name, FirstKHz: raster.First, LastKHz: raster.Last, Finding: f.Finding.String(), Count: f.Count, LowKHz: f.Low, HighKHz: f.High,
		AtLow: f.AtLow, AtHigh: f.AtHigh, Mean: f.Mean, Scatter: f.Scatter, Readable: readable, found: f.Finding}, true
}

// has reports whether there are readings of a band, be they all halfway ones.
func (d Dial) has(b measure.Band) bool {
	return slices.ContainsFunc(d.Readings, func(l DialLine) bool { return l.Band == b })
}

// Told is the answer for people.
func (d Dial) Told() (t Told) {
	table := Table{Caption: "Dial readings", Head: []string{"band", "dial", "station", "channel", "error", "percent", "remark"}, Numbers: map[int]bool{1: true, 2: true, 3: true, 4: true, 5: true}}
	for _, l := range d.Readings {
		if l.Unread != "" {
			t.Unread = append(t.Unread, l.Unread)
		}
		for _, a := range l.Against {
			table.Rows = append(table.Rows, []string{string(l.Band), frequency(l.Band, l.DialKHz), frequency(l.Band, a.StationKHz), channel(a.Channel),
				a.off(), fmt.Sprintf("%+.2f %%", a.Percent), l.remark()})
		}
	}
	if len(table.Rows) > 0 {
		t.Tables = append(t.Tables, table)
	}
	for _, b := range d.Bands {
		t.Words = append(t.Words, fmt.Sprintf("%s is held against the channels of %s.", b.Band, b.Raster), b.words())
	}
	return t
}

// Frequency is a frequency as a dial has it.
func frequency(b measure.Band, khz int) string {
	if b == measure.FM {
		return figure(float64(khz)/1000, 6) + " MHz"
	}
	return fmt.Sprintf("%d kHz", khz)
}

func channel(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprint(n)
}

func (l DialLine) remark() string {
	switch {
	case l.Known:
		return "station known"
	case len(l.Against) > 1:
		return "halfway: either; say the station"
	case l.Unsure:
		return "a poor guess at the station; say it if you know it"
	}
	return "nearest channel, a guess"
}

// words say what a band's readings mean together.
func (b DialBand) words() string {
	ends := fmt.Sprintf("%s at %s and %s at %s", about(b.AtLow), frequency(b.Band, b.LowKHz), about(b.AtHigh), frequency(b.Band, b.HighKHz))
	switch b.found {
	case measure.DialTrue:
		return fmt.Sprintf("%s: the dial is right within what can be read on it (%d kHz): %s.", b.Band, b.Readable, ends)
	case measure.DialOffset:
		return fmt.Sprintf("%s: off by the same everywhere, %s on average: the pointer or the oscillator is off (common practice, no source).", b.Band, about(b.Mean))
	case measure.DialTracking:
		return fmt.Sprintf("%s: off by other amounts at the two ends, %s: that is tracking (common practice, no source).", b.Band, ends)
	case measure.DialScattered:
		return fmt.Sprintf("%s: the readings do not lie on a line, by up to %s kHz. Look whether each station is the one that was heard.", b.Band, figure(b.Scatter, 2))
	}
	return fmt.Sprintf("%s: one offset and tracking can't be told apart yet. Read a station near each end of the dial.", b.Band)
}

func about(khz float64) string {
	text := figure(math.Round(10*khz)/10, 3)
	if khz > 0 && !strings.HasPrefix(text, "-") && text != "0" {
		text = "+" + text
	}
	return text + " kHz"
}
