package measure

import (
	"errors"
	"fmt"
	"strings"
)

// DialReading is a spot on a dial as a person reads it, with the station that is
// heard there where that is known.
type DialReading struct {
	Text       string // as typed
	Band       Band
	KHz        int
	StationKHz int // 0 where nobody knows
}

// ReadDial reads `AM 663`, `94.62=94.7` or `1.004 MHz`: band, reading, and behind
// an equals sign the station's own frequency. A number without a unit is in kHz
// on AM and in MHz on FM. Without a band the number tells, which it does between
// the two: 500 to 1800 kHz and 70 to 120 MHz. It refuses what is no frequency or
// lies in neither band.
func ReadDial(text string) (DialReading, error) {
	r := DialReading{Text: text}
	reading, station, known := strings.Cut(text, "=")
	r.Band, reading = cutBand(reading)
	var err error
	if r.KHz, r.Band, err = bandFrequency(reading, r.Band); err != nil {
		return DialReading{Text: text}, fmt.Errorf("read dial %q: %w", text, err)
	}
	if known {
		band, rest := cutBand(station)
		if band != "" && band != r.Band {
			return DialReading{Text: text}, fmt.Errorf("read dial %q: the reading is on %s and the station on %s", text, r.Band, band)
		}
		if r.StationKHz, _, err = bandFrequency(rest, r.Band); err != nil {
			return DialReading{Text: text}, fmt.Errorf("read dial %q: station: %w", text, err)
		}
	}
	return r, nil
}

func cutBand(text string) (Band, string) {
	text = strings.TrimSpace(text)
	for _, b := range []Band{AM, FM} {
		if len(text) > 1 && strings.EqualFold(text[:2], string(b)) {
			return b, strings.TrimSpace(text[2:])
		}
	}
	return "", text
}

// bandRange is where readings of a band lie, in kHz, and the unit of a bare
// number. It is wider than the band: a dial may be off.
var bandRange = map[Band]struct {
	low, high int
	bare      scale
}{AM: {500, 1800, scale{Hertz, 3}}, FM: {70000, 120000, scale{Hertz, 6}}}

// errNoBand is for a frequency on neither band.
var errNoBand = errors.New("it is neither between 500 and 1800 kHz, AM, nor between 70 and 120 MHz, FM")

// bandFrequency reads a frequency of a band, or of the band that fits.
func bandFrequency(text string, b Band) (khz int, band Band, err error) {
	var first error
	for _, try := range []Band{AM, FM} {
		if b != "" && b != try {
			continue
		}
		in := bandRange[try]
		v, _, err := read(text, Frequency, in.bare)
		if err == nil {
			khz, err = WholeKHz(v)
		}
		switch {
		case err == nil && khz >= in.low && khz <= in.high:
			return khz, try, nil
		case err == nil && b != "":
			return 0, b, fmt.Errorf("%s is not on %s, %d to %d kHz", v.Canonical(), b, in.low, in.high)
		case err != nil && first == nil:
			first = err
		}
	}
	if first != nil {
		return 0, b, first
	}
	return 0, b, errNoBand
}
