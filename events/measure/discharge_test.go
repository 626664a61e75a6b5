package measure_test

import (
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/capacitor_discharge.csv, closed formulas computed outside
// the project.
func TestDischargeAgreesWithTheReferenceTable(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/capacitor_discharge.csv") {
		d, err := measure.NewDischarge(value(t, row["uF"]+" uF", measure.Capacitance),
			value(t, row["ohms"]+" ohm", measure.Resistance), value(t, row["v0"]+" V", measure.Voltage))
		if err != nil {
			t.Fatal(err)
		}
		to50, err50 := d.SecondsTo(value(t, "50 V", measure.Voltage))
		to30, err30 := d.SecondsTo(value(t, "30 V", measure.Voltage))
		if err50 != nil || err30 != nil {
			t.Fatal(err50, err30)
		}
		what := row["uF"] + " uF and " + row["ohms"] + " ohm: "
		// The table has six figures here.
		for _, c := range []struct {
			name string
			got  float64
		}{
			{"tau_s", d.TimeConstant()}, {"t_to_50v_s", to50}, {"t_to_30v_s", to30}, {"energy_j", d.Joules()}, {"peak_w", d.PeakWatts()},
		} {
			agrees(t, what+c.name, c.got, row[c.name])
		}
	}
}

func TestADischargeNeedsThreeValuesAboveZeroAndTheRightUnits(t *testing.T) {
	c, r, v := value(t, "40 uF", measure.Capacitance), value(t, "220k", measure.Resistance), value(t, "350 V", measure.Voltage)
	zero := value(t, "0 V", measure.Voltage)
	for _, bad := range [][3]measure.Value{{r, r, v}, {c, c, v}, {c, r, c}, {c, r, zero}} {
		if d, err := measure.NewDischarge(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%v makes %+v", bad, d)
		}
	}
	d, err := measure.NewDischarge(c, r, v)
	if err != nil {
		t.Fatal(err)
	}
	if s, err := d.SecondsTo(zero); err == nil {
		t.Errorf("it is empty after %g s", s)
	}
	if s, err := d.SecondsTo(value(t, "400 V", measure.Voltage)); err != nil || s != 0 {
		t.Errorf("from 350 V to 400 V takes %g s, %v", s, err)
	}
}
