package measure_test

import (
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/leakage.csv, network formulas computed outside the project.
func TestLeakageCurrentsAgreeWithTheReferenceTable(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/leakage.csv") {
		v, hz := value(t, row["reading_v"]+" V", measure.Voltage), whole(t, row["freq_hz"])
		through, shortcut, err := measure.HotCheckCurrent(v, hz)
		weighted, actual, err2 := measure.TouchCurrent(v, hz)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		got, known := map[string]float64{
			"1500R||0.15uF true current":             through,
			"1500R||0.15uF V/1500 shortcut":          shortcut,
			"IEC60990 U2 touch current U2/500":       weighted,
			"IEC60990 U2 actual current for that U2": actual,
		}[row["network"]+" "+row["quantity"]]
		if !known {
			t.Fatalf("row %v", row)
		}
		agrees(t, row["network"]+" "+row["quantity"]+" at "+row["freq_hz"]+" Hz", got, row["expected_ma"])
	}
}

// Source: worked figures in the reference facts, section on electrical safety.
func TestASoundCapacitorToTheChassisLeaksItsShare(t *testing.T) {
	for _, c := range []struct {
		line string
		hz   int
		cap  string
		want string
	}{
		{"120 V", 60, "0.01 uF", "0.452389"}, {"120 V", 60, "0.005 uF", "0.226195"},
		{"120 V", 60, "0.047 uF", "2.126230"}, {"230 V", 50, "0.01 uF", "0.722566"},
	} {
		got, err := measure.CapacitorLeak(value(t, c.line, measure.Voltage), c.hz, value(t, c.cap, measure.Capacitance))
		if err != nil {
			t.Error(err)
		}
		agrees(t, c.cap+" at "+c.line, got, c.want)
	}
	reads, err := measure.HotCheckVoltage(value(t, "120 V", measure.Voltage), 60, value(t, "0.01 uF", measure.Capacitance))
	if err != nil {
		t.Error(err)
	}
	agrees(t, "hot check through 0.01 uF", reads, "0.675823")
}

func TestLeakageFromUnlikeThingsIsRefused(t *testing.T) {
	volt, farad := value(t, "1 V", measure.Voltage), value(t, "1 uF", measure.Capacitance)
	below, none := value(t, "-1 V", measure.Voltage), value(t, "0 pF", measure.Capacitance)
	for what, err := range map[string]error{
		"a capacitance over the network": second(measure.HotCheckCurrent(farad, 60)),
		"below zero over the network":    second(measure.HotCheckCurrent(below, 60)),
		"no frequency":                   second(measure.HotCheckCurrent(volt, 0)),
		"a capacitance for U2":           second(measure.TouchCurrent(farad, 60)),
		"U2 at no frequency":             second(measure.TouchCurrent(volt, -50)),
		"no capacitor":                   last(measure.CapacitorLeak(volt, 60, none)),
		"a capacitor for the line":       last(measure.CapacitorLeak(farad, 60, farad)),
		"a line for the capacitor":       last(measure.HotCheckVoltage(volt, 60, volt)),
		"a line at no frequency":         last(measure.HotCheckVoltage(volt, 0, farad)),
	} {
		if err == nil {
			t.Errorf("%s gives a current", what)
		}
	}
}

func second(_, _ float64, err error) error { return err }

func last(_ float64, err error) error { return err }
