package measure_test

import (
	"testing"

	"oldhand/events/measure"
)

// against are readings of an AM dial with their stations.
func against(t *testing.T, r measure.Raster, pairs ...int) (errs []measure.DialError) {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		e, err := r.Against(pairs[i], pairs[i+1])
		if err != nil {
			t.Fatal(err)
		}
		errs = append(errs, e)
	}
	return errs
}

// Source: F. J. Anscombe, "Graphs in Statistical Analysis", The American
// Statistician 27 (1973), whose four sets all have the line y = 3.00 + 0.500 x
// (data and figures from memory). Here x is ten kHz and y a hundredth of a kHz.
func TestTheLineIsThatOfLeastSquares(t *testing.T) {
	x := []int{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5}
	for set, y := range [][]int{
		{804, 695, 758, 881, 833, 996, 724, 426, 1084, 482, 568},
		{914, 814, 874, 877, 926, 810, 613, 310, 913, 726, 474},
		{746, 677, 1274, 711, 781, 884, 608, 539, 815, 642, 573},
	} {
		var errs []measure.DialError
		for i := range x {
			errs = append(errs, measure.DialError{StationKHz: 10 * x[i], ErrorKHz: y[i]})
		}
		f, err := measure.AMRegion2.FitDial(errs, 2)
		if err != nil {
			t.Fatal(err)
		}
		slope := (f.AtHigh - f.AtLow) / float64(14-4) / 100
		agrees(t, "slope", slope, "0.500")
		if at0 := f.AtLow/100 - slope*4; at0 < 2.995 || at0 > 3.01 {
			t.Errorf("set %d cuts the axis at %v, want 3.00", set+1, at0)
		}
		agrees(t, "mean", f.Mean/100, "7.50")
	}
}

// Source: the examples of the reference facts (663 on 660, 1004 on 1000; off the
// same at both ends is pointer or oscillator, off at one end is tracking: common
// practice). The others are worked by hand.
func TestOffsetIsToldFromTracking(t *testing.T) {
	am, fm := measure.AMRegion2Before1990, measure.FMUnitedStates
	for _, c := range []struct {
		what      string
		raster    measure.Raster
		band      measure.Band
		pairs     []int
		want      measure.DialFinding
		low, high float64
	}{
		{"the facts' two", am, measure.AM, []int{663, 660, 1004, 1000}, measure.DialTooFew, 3, 4},
		{"the same at both ends", am, measure.AM, []int{603, 600, 1004, 1000, 1403, 1400}, measure.DialOffset, 3.333, 3.333},
		{"low at both ends", am, measure.AM, []int{588, 600, 1388, 1400}, measure.DialOffset, -12, -12},
		{"off at the high end only", am, measure.AM, []int{600, 600, 1412, 1400}, measure.DialTracking, 0, 12},
		{"off either way", am, measure.AM, []int{590, 600, 1000, 1000, 1410, 1400}, measure.DialTracking, -10, 10},
		{"right", am, measure.AM, []int{601, 600, 999, 1000, 1402, 1400}, measure.DialTrue, 0.1667, 1.1667},
		{"no line", am, measure.AM, []int{600, 600, 1020, 1000, 1400, 1400}, measure.DialScattered, 6.667, 6.667},
		{"one", am, measure.AM, []int{663, 660}, measure.DialTooFew, 3, 3},
		{"one station twice", am, measure.AM, []int{663, 660, 665, 660}, measure.DialTooFew, 4, 4},
		{"FM low at both ends", fm, measure.FM, []int{91220, 91300, 104190, 104300}, measure.DialOffset, -80, -110},
		{"FM off at one end", fm, measure.FM, []int{88100, 88100, 107500, 107900}, measure.DialTracking, 0, -400},
	} {
		f, err := c.raster.FitDial(against(t, c.raster, c.pairs...), c.band.Readable())
		if err != nil || f.Finding != c.want || f.Count != len(c.pairs)/2 {
			t.Errorf("%s: %s of %d, %v; want %s", c.what, f.Finding, f.Count, err, c.want)
		}
		if off := max(abs1(f.AtLow-c.low), abs1(f.AtHigh-c.high)); off > 0.001 {
			t.Errorf("%s: the line goes from %v to %v, want %v to %v", c.what, f.AtLow, f.AtHigh, c.low, c.high)
		}
	}
	if f, err := am.FitDial(nil, 2); err == nil {
		t.Errorf("nothing gives %+v", f)
	}
	if f, err := am.FitDial(against(t, am, 663, 660), 0); err == nil {
		t.Errorf("a dial read to nothing gives %+v", f)
	}
}

func abs1(v float64) float64 { return max(v, -v) }
