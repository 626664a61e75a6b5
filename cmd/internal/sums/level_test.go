package sums_test

import (
	"strings"
	"testing"

	"oldhand/cmd/internal/sums"
	"oldhand/events/measure"
)

func levels(readings ...string) sums.LevelsTyped { return sums.LevelsTyped{Readings: readings} }

// Source: rows of checkdata/levels.csv and the worked figures of the reference
// facts, section on levels.
func TestLevelsAreHeldAgainstWhatTheyGoWith(t *testing.T) {
	for want, in := range map[string]sums.LevelsTyped{
		"FM is 6.0 dB below AM. At 6.0 dB below or more":                                    levels("AM=310", "FM=155 mV"),
		"FM is 6.4 dB below AM. At":                                                         levels("am=0.42 V", "fm=0.2 V"),
		"FM is 0.8 dB below AM. About equal is usual":                                       levels("AM=95 mV", "FM=87"),
		"FM is level with AM.":                                                              levels("AM=95 mV", "FM=95"),
		"Right is 1.0 dB below left. Within 1.0 dB is taken for good, over 3.0":             levels("L=0.775 V", "R=0.690 V"),
		"Right is 6.0 dB above left. Over 3.0 dB is taken for a fault":                      levels("left=1 V", "right=2 V"),
		"Right is 0.1 dB below left. Within 1.0 dB":                                         levels("l=100", "r=99"),
		"Separation is 40.0 dB (the ratio of 47 CFR 73.310)":                                levels("wanted=1 V", "leak=0.01 V"),
		"500 mV is 6.0 dB below 1 V (20 log":                                                levels("1 V", "500 mV"),
		"12.5 W is 1.0 dB above 10 W (10 log":                                               levels("10 W", "12.5 W"),
		"Their mean in power is 68.4 dB; they differ by up to 12.0 dB":                      levels("60 dB", "66 dB", "72 dB"),
		"Together, of sources that have nothing to do with each other: 61.8 dB.":            levels("60 dB", "57 dB"),
		"FM is 7.0 dB below AM. At 6.0 dB below or more, after the usual cleaning":          levels("AM=-20 dBV", "FM=-27 dBV"),
		"Each is the mean in power of its readings, which differ by up to 6.0 dB.":          levels("AM=100", "AM=200", "FM=100"),
		"FM is 9.0 dB below AM. About equal is usual; 10.0 dB below or more would point to": {Readings: []string{"AM=-20 dBV", "FM=-29 dBV"}, Rules: measure.LevelRules{FMBelow: 10}},
	} {
		l, err := sums.ReadLevels(in)
		wants(t, told(t, l, err), want)
	}
	l, err := sums.ReadLevels(levels("1.228 V", "1 V"))
	wants(t, told(t, l, err), "| 1.228 V | 1.8 | 4.0")
}

func TestLevelsThatDoNotGoTogetherAreRefused(t *testing.T) {
	for why, in := range map[string]sums.LevelsTyped{
		"want two or more":             levels("AM=95"),
		"none of AM, FM":               levels("AM=95", "SW=80"),
		"none goes with another":       levels("AM=95", "L=80"),
		"different units":              levels("1 V", "1 W"),
		"FM: level of 0 V":             levels("AM=95", "FM=0"),
		"both must be above zero":      levels("1 V", "0 V"),
		`level "12 rpm": read`:         levels("12 rpm", "1 V"),
		"among levels in 60 dB":        levels("60 dB", "1 V"),
		`level "AM=loud": Audio level`: levels("AM=loud", "FM=95"),
	} {
		if l, err := sums.ReadLevels(in); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%v: %+v, %v; want %s", in.Readings, l, err, why)
		}
	}
}
