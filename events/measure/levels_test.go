package measure_test

import (
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/levels.csv, closed formulas computed outside the project.
func TestRatiosInDecibelsAgreeWithTheReferenceTable(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/levels.csv") {
		ratio, unit, q := measure.VoltageRatioDB, " V", measure.Voltage
		if row["kind"] == "power" {
			ratio, unit, q = measure.PowerRatioDB, " W", measure.Power
		}
		got, err := ratio(value(t, row["a"]+unit, q), value(t, row["b"]+unit, q))
		if err != nil {
			t.Error(err)
		}
		agrees(t, row["kind"]+" "+row["a"]+" to "+row["b"], got, row["expected_db"])
	}
}

// Source: worked figures in the reference facts, section on levels.
func TestLevelsAddAndAverageInPower(t *testing.T) {
	levels := func(texts ...string) (all []measure.Value) {
		for _, text := range texts {
			all = append(all, value(t, text, measure.Level))
		}
		return all
	}
	sum, err := measure.CombineDB(levels("60 dB", "60 dB"))
	agrees(t, "60 and 60", sum, "63.0103")
	sum2, err2 := measure.CombineDB(levels("60 dB", "57 dB"))
	agrees(t, "60 and 57", sum2, "61.76435")
	mean, spread, err3 := measure.PowerMeanDB(levels("66 dB", "60 dB", "72 dB"))
	agrees(t, "mean of 60, 66, 72", mean, "68.41568")
	agrees(t, "spread of 60, 66, 72", spread, "12")
	if err != nil || err2 != nil || err3 != nil {
		t.Error(err, err2, err3)
	}
	dbu, err := measure.VoltageRatioDB(value(t, "0.7745967 V", measure.Voltage), value(t, "1.228 V", measure.Voltage))
	if err != nil {
		t.Error(err)
	}
	agrees(t, "1.228 V over 0 dBu", dbu, "4.002")
}

func TestLevelsOfUnlikeThingsAreRefused(t *testing.T) {
	volt, watt := value(t, "1 V", measure.Voltage), value(t, "1 W", measure.Power)
	zero, db := value(t, "0 V", measure.Voltage), value(t, "1 dB", measure.Level)
	for _, pair := range [][2]measure.Value{{volt, watt}, {volt, zero}, {zero, volt}} {
		if got, err := measure.VoltageRatioDB(pair[0], pair[1]); err == nil {
			t.Errorf("%s over %s is %g", pair[1].Canonical(), pair[0].Canonical(), got)
		}
	}
	for _, levels := range [][]measure.Value{nil, {volt}, {db, volt}, {value(t, "1 dBV", measure.Level), db}, {value(t, "1000 dB", measure.Level)}} {
		if got, err := measure.CombineDB(levels); err == nil {
			t.Errorf("%v together are %g", levels, got)
		}
		if got, _, err := measure.PowerMeanDB(levels); err == nil {
			t.Errorf("%v have the mean %g", levels, got)
		}
	}
}
