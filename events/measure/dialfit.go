package measure

import (
	"errors"
	"fmt"
	"math"
)

// DialFit is a line laid by least squares through the errors of several readings
// of one dial, over the stations' frequencies.
type DialFit struct {
	Count     int
	Low, High int // the outermost stations, kHz
	// AtLow and AtHigh are the line at these, Mean the mean error, in kHz.
	AtLow, AtHigh, Mean float64
	// Scatter is how far a reading lies from the line at most, in kHz.
	Scatter float64
	Finding DialFinding
}

// DialFinding is what the readings of a dial say together.
type DialFinding uint8

// The findings. A dial that is off by the same at both ends has its pointer or
// its oscillator off; one that is off by other amounts at the two ends does not
// track (common practice, no source). Both are for a person to look into.
const (
	DialTooFew    DialFinding = iota // fewer than two, or close together
	DialTrue                         // no error at either end that an eye can tell
	DialOffset                       // the same error everywhere
	DialTracking                     // another error at each end
	DialScattered                    // the readings do not lie on a line
)

var dialFindings = map[DialFinding]string{
	DialTooFew: "too few", DialTrue: "true", DialOffset: "offset", DialTracking: "tracking", DialScattered: "scattered",
}

func (f DialFinding) String() string { return dialFindings[f] }

// Readable is how closely the printed dial of a band is read, in kHz: two
// readings of one spot differ by so much. This package's own figures, chosen
// from what is printed on dials; a better dial deserves smaller ones.
func (b Band) Readable() int {
	if b == FM {
		return 50
	}
	return 2
}

// FitDial lays the line and says what it means, with differences below what can
// be read on the dial, in kHz, taken for none. Two readings tell offset from
// tracking only if they lie at least a third of the raster apart. It refuses no
// readings at all, and stations of which all are the same give DialTooFew.
func (r Raster) FitDial(errs []DialError, readable int) (DialFit, error) {
	if len(errs) == 0 {
		return DialFit{}, errors.New("lay a line through dial readings: there are none")
	}
	if readable <= 0 {
		return DialFit{}, fmt.Errorf("lay a line through dial readings: what can be read is %d kHz, want more than 0", readable)
	}
	f := DialFit{Count: len(errs), Low: errs[0].StationKHz, High: errs[0].StationKHz}
	var x, y []float64
	for _, e := range errs {
		x, y = append(x, float64(e.StationKHz)), append(y, float64(e.ErrorKHz))
		f.Low, f.High = min(f.Low, e.StationKHz), max(f.High, e.StationKHz)
	}
	var at func(float64) float64
	f.Mean, at = leastSquares(x, y)
	f.AtLow, f.AtHigh = at(float64(f.Low)), at(float64(f.High))
	for i := range x {
		f.Scatter = max(f.Scatter, math.Abs(y[i]-at(x[i])))
	}
	f.Finding = f.finding(r, float64(readable))
	return f, nil
}

func (f DialFit) finding(r Raster, readable float64) DialFinding {
	switch {
	case f.Count < 2 || 3*(f.High-f.Low) < r.Last-r.First:
		return DialTooFew
	case f.Scatter > 2*readable:
		return DialScattered
	case math.Abs(f.AtLow) <= readable && math.Abs(f.AtHigh) <= readable:
		return DialTrue
	case math.Abs(f.AtHigh-f.AtLow) <= 2*readable:
		return DialOffset
	}
	return DialTracking
}

// leastSquares gives the mean of y and the line through the points; a level one
// where all x are the same.
func leastSquares(x, y []float64) (mean float64, at func(float64) float64) {
	n := float64(len(x))
	mx := 0.0
	for i := range x {
		mx, mean = mx+x[i]/n, mean+y[i]/n
	}
	var sxx, sxy float64
	for i := range x {
		sxx, sxy = sxx+(x[i]-mx)*(x[i]-mx), sxy+(x[i]-mx)*(y[i]-mean)
	}
	slope := 0.0
	if sxx > 0 {
		slope = sxy / sxx
	}
	return mean, func(v float64) float64 { return mean + slope*(v-mx) }
}
