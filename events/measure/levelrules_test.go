package measure_test

import (
	"testing"

	"oldhand/events/measure"
)

// Source: the thresholds are the reference facts' (common practice, no source);
// the levels are rows of checkdata/levels.csv.
func TestHalfTheVoltageIsLowAndNearlyHalfIsNot(t *testing.T) {
	for _, c := range []struct {
		am, fm string
		low    bool
	}{{"0.31 V", "0.155 V", true}, {"0.42 V", "0.2 V", true}, {"1 V", "0.51 V", false}, {"95 mV", "87 mV", false}, {"80 mV", "160 mV", false}} {
		db, err := measure.VoltageRatioDB(value(t, c.am, measure.Voltage), value(t, c.fm, measure.Voltage))
		if err != nil || measure.UsualLevels.FMIsLow(db) != c.low {
			t.Errorf("FM %s beside AM %s, %.2f dB: low is %v", c.fm, c.am, db, !c.low)
		}
	}
	if (measure.LevelRules{FMBelow: 10}).FMIsLow(-9.9) {
		t.Error("the shop's own threshold is not kept to")
	}
}

func TestABalanceIsSortedByItsTwoThresholds(t *testing.T) {
	for db, want := range map[float64]measure.BalanceRange{
		0: measure.BalanceEqual, -1: measure.BalanceEqual, 1.009052: measure.BalanceBetween, -3: measure.BalanceBetween, 3.01: measure.BalanceFaulty, -6: measure.BalanceFaulty,
	} {
		if got := measure.UsualLevels.Balance(db); got != want {
			t.Errorf("%v dB is range %d, want %d", db, got, want)
		}
	}
}

// Source: levels add in power (reference facts): the mean of 60, 66 and 72 dB is
// 68.41568. In volts the same is the root of the mean square.
func TestAMeanLevelIsTakenInPowerWhateverItWasReadIn(t *testing.T) {
	db, spread, err := measure.MeanLevel([]measure.Value{value(t, "60 dBV", measure.Level), value(t, "66 dBV", measure.Level), value(t, "72 dBV", measure.Level)})
	agrees(t, "mean of three", db, "68.41568")
	agrees(t, "their spread", spread, "12")
	volts, _, err2 := measure.MeanLevel([]measure.Value{value(t, "3 V", measure.Voltage), value(t, "4 V", measure.Voltage)})
	agrees(t, "3 and 4 V, 20 log of the root of 12.5", volts, "10.969100")
	mixed, _, err3 := measure.MeanLevel([]measure.Value{value(t, "1 V", measure.Voltage), value(t, "0 dBV", measure.Level)})
	agrees(t, "1 V and 0 dBV", mixed, "0")
	if err != nil || err2 != nil || err3 != nil {
		t.Error(err, err2, err3)
	}
	agrees(t, "0 dBu", measure.VoltsAtZeroDBu, "0.7745967")
	for _, bad := range [][]measure.Value{nil, {value(t, "0 V", measure.Voltage)}, {value(t, "1 W", measure.Power)}, {value(t, "6 dB", measure.Level)}, {value(t, "1000 dBV", measure.Level)}} {
		if db, _, err := measure.MeanLevel(bad); err == nil {
			t.Errorf("%v have the mean %v", bad, db)
		}
	}
}
