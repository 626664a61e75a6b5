package measure

import (
	"errors"
	"fmt"
	"math"
)

// VoltageRatioDB gives the level of `to` over `from` in dB, 20 times the
// logarithm: half the voltage is -6.02 dB. It holds for voltages across equal
// impedances, which is the caller's to know. Channel balance is
// VoltageRatioDB(left, right), separation VoltageRatioDB(leak, wanted) (the ratio
// of 47 CFR 73.310). Both values must be above zero and of one unit.
// Source: IEC 60027-3 (from memory).
func VoltageRatioDB(from, to Value) (float64, error) {
	return ratioDB(20, from, to)
}

// PowerRatioDB gives the level of `to` over `from` in dB for powers, 10 times
// the logarithm: half the power is -3.01 dB. Both values must be above zero and
// of one unit.
func PowerRatioDB(from, to Value) (float64, error) {
	return ratioDB(10, from, to)
}

func ratioDB(factor float64, from, to Value) (float64, error) {
	if from.Unit != to.Unit {
		return 0, fmt.Errorf("level of %s over %s: different units", to.Canonical(), from.Canonical())
	}
	if from.Mant <= 0 || to.Mant <= 0 {
		return 0, fmt.Errorf("level of %s over %s: both must be above zero", to.Canonical(), from.Canonical())
	}
	return factor * math.Log10(to.Float()/from.Float()), nil
}

// PowerMeanDB gives the mean of levels in dB, taken over their powers, and the
// spread from the lowest to the highest. The mean of 60 and 72 dB is 69.3 dB, not
// 66: a caller shows the spread beside a mean that has one.
func PowerMeanDB(levels []Value) (mean, spread float64, err error) {
	sum, err := CombineDB(levels)
	if err != nil {
		return 0, 0, err
	}
	low, high := levels[0], levels[0]
	for _, v := range levels {
		if v.Compare(low) < 0 {
			low = v
		}
		if v.Compare(high) > 0 {
			high = v
		}
	}
	return sum - 10*math.Log10(float64(len(levels))), high.Float() - low.Float(), nil
}

// CombineDB gives the level of several uncorrelated sources together, which add
// in power: 60 and 60 dB give 63.01 dB. All must be in one unit, dB or dB over 1 V.
func CombineDB(levels []Value) (float64, error) {
	if len(levels) == 0 {
		return 0, errors.New("combine levels: there are none")
	}
	sum := 0.0
	for _, v := range levels {
		if v.Unit != levels[0].Unit || v.Unit != Decibel && v.Unit != DecibelVolt {
			return 0, fmt.Errorf("combine levels: %s among levels in %s", v.Canonical(), levels[0].Canonical())
		}
		if v.Mant != 0 && v.magnitude() > 2 {
			return 0, fmt.Errorf("combine levels: %s is beyond any level", v.Canonical())
		}
		sum += math.Pow(10, v.Float()/10)
	}
	return 10 * math.Log10(sum), nil
}
