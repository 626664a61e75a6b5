package sums_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"oldhand/cmd/internal/sums"
	"oldhand/events/sharedtest"
)

// Source: checkdata/leakage.csv, network formulas computed outside the project.
func TestEveryRowOfTheLeakageTableIsInTheAnswer(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/leakage.csv") {
		network := "hot-check"
		if strings.HasPrefix(row["network"], "IEC60990") {
			network = "iec60990"
		}
		hz, err := strconv.Atoi(row["freq_hz"])
		if err != nil {
			t.Fatal(err)
		}
		l, err := sums.ReadLeakage(sums.LeakageTyped{Readings: []string{row["reading_v"]}, Network: network, Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		got := l.Readings[0].LimitedMA
		if strings.Contains(row["quantity"], "true current") || strings.Contains(row["quantity"], "actual current") {
			got = l.Readings[0].ThroughMA
		}
		if want, err := strconv.ParseFloat(row["expected_ma"], 64); err != nil || math.Abs(got-want) > 6e-7 {
			t.Errorf("%v: %v", row, got)
		}
	}
}

// Source: the worked figures of the reference facts, section on electrical safety.
func TestALeakageSaysItsNetworkItsAmplitudeAndNoVerdict(t *testing.T) {
	l, err := sums.ReadLeakage(sums.LeakageTyped{Readings: []string{"0.35 V", "200 mV"}, Network: "iec60990", Amplitude: "peak", Limit: "0.7 mA peak"})
	said := told(t, l, err)
	wants(t, said, "0.350 V peak | 0.7 | 0.7026 | 100 % of the limit of 0.7 mA peak that you gave; that declares no set safe", "57.1 % of the limit",
		"0.7 mA peak is 0.495 mA rms if it is sinusoidal.", "IEC 60990 sets no limits", "nothing here declares a set safe", "local code")
	if l.Told().Caution != sums.OfLeakage {
		t.Error("no caution stands beside it")
	}
	l, err = sums.ReadLeakage(sums.LeakageTyped{Readings: []string{"0.9"}, Amplitude: "rms", Limit: "0.75 V"})
	wants(t, told(t, l, err), "0.900 V rms | 0.6 | 0.6022 | above the limit of 0.75 V that you gave, 1.2 times it", "0.6 mA rms is 0.8485 mA peak")
	l, err = sums.ReadLeakage(sums.LeakageTyped{Readings: []string{"0.3"}, Amplitude: "rms", Limit: "0.7 mA peak"})
	wants(t, told(t, l, err), "not held against the limit of 0.7 mA peak: that is peak, and the reading is rms")
	l, err = sums.ReadLeakage(sums.LeakageTyped{Readings: []string{"0.3"}})
	wants(t, told(t, l, err), "Say whether the meter showed rms or peak, a factor of 1.414")
	l, err = sums.ReadLeakage(sums.LeakageTyped{Line: "120 V", Capacitor: "0.01 MFD"})
	wants(t, told(t, l, err), "A sound 0.01 µF from a line of 120 V and 60 Hz to the chassis lets 0.452 mA through, and the hot check reads 0.676 V")
}

func TestALeakageThatIsNoneIsRefused(t *testing.T) {
	for why, in := range map[string]sums.LeakageTyped{
		"neither a voltage":     {},
		`network "finger"`:      {Readings: []string{"1"}, Network: "finger"},
		`amplitude "loud"`:      {Readings: []string{"1"}, Amplitude: "loud"},
		`limit "low"`:           {Readings: []string{"1"}, Limit: "low"},
		`limit "0 V"`:           {Readings: []string{"1"}, Limit: "0 V"},
		"Hot check, voltage":    {Readings: []string{"1 mA"}},
		"must be above zero":    {Readings: []string{"1"}, Hz: -50},
		"want both":             {Line: "120 V"},
		`read "big" as`:         {Line: "120 V", Capacitor: "big"},
		`read "big" as voltage`: {Line: "big", Capacitor: "0.01 uF"},
		"want a capacitance":    {Line: "120 V", Capacitor: "0 pF"},
	} {
		if l, err := sums.ReadLeakage(in); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%+v: %+v, %v; want %s", in, l, err, why)
		}
	}
}
