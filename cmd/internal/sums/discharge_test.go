package sums_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"oldhand/cmd/internal/sums"
	"oldhand/events/sharedtest"
)

// Source: checkdata/capacitor_discharge.csv, closed formulas computed outside the
// project, to six figures.
func TestEveryRowOfTheDischargeTableIsInTheAnswer(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/capacitor_discharge.csv") {
		d, err := sums.ReadDischarge(sums.DischargeTyped{Capacitor: row["uF"] + " MFD", Resistor: row["ohms"], Start: row["v0"] + " V"})
		if err != nil {
			t.Fatal(err)
		}
		for name, got := range map[string]float64{"tau_s": d.TimeConstant, "t_to_50v_s": d.To[0].Seconds, "t_to_30v_s": d.To[1].Seconds, "energy_j": d.Joules, "peak_w": d.PeakWatts} {
			if want, err := strconv.ParseFloat(row[name], 64); err != nil || math.Abs(got-want) > 5e-6*want {
				t.Errorf("%v: %s is %v", row, name, got)
			}
		}
	}
}

// Source: the worked figures of the reference facts, section on electrical safety.
func TestADischargeTellsItsTimesAndTrustsTheMeter(t *testing.T) {
	d, err := sums.ReadDischarge(sums.DischargeTyped{Capacitor: "40 MFD", Resistor: "220K", Start: "350 V", To: "100 V"})
	wants(t, told(t, d, err), "100 V | 11 s", "50 V | 17.1 s", "30 V | 21.6 s", "the time constant is 8.8 s, the energy 2.45 J", "0.557 W", "Measure, then trust the meter.")
	if d.Told().Caution != sums.OfStoredCharge {
		t.Error("no caution stands beside it")
	}
	d, err = sums.ReadDischarge(sums.DischargeTyped{Capacitor: "50-30-30 MFD", Resistor: "1 MEG", Start: "450 V"})
	wants(t, told(t, d, err), "110 µF, 3 sections taken together, at 450 V through 1 MΩ", "50 V | 242 s (4 min)")
}

func TestADischargeOfUnlikeThingsIsRefused(t *testing.T) {
	good := sums.DischargeTyped{Capacitor: "40 uF", Resistor: "220k", Start: "350 V"}
	for why, change := range map[string]func(*sums.DischargeTyped){
		`read "40"`:                 func(in *sums.DischargeTyped) { in.Capacitor = "40" },
		"there is no value in it":   func(in *sums.DischargeTyped) { in.Capacitor = "electrolytic" },
		"as resistance":             func(in *sums.DischargeTyped) { in.Resistor = "350 V" },
		"as voltage":                func(in *sums.DischargeTyped) { in.Start = "220k" },
		"want a voltage above zero": func(in *sums.DischargeTyped) { in.To = "0 V" },
		`read "low" as voltage`:     func(in *sums.DischargeTyped) { in.To = "low" },
		"want a resistance":         func(in *sums.DischargeTyped) { in.Resistor = "0" },
	} {
		in := good
		change(&in)
		if d, err := sums.ReadDischarge(in); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%+v: %+v, %v; want %s", in, d, err, why)
		}
	}
}
