package measure

import (
	"errors"
	"fmt"
	"math"
)

// LevelRules are thresholds in dB that benches go by. All are common practice,
// no source: they are for a person to confirm or to replace by others, and never
// a verdict on a set.
type LevelRules struct {
	// FMBelow is how far FM may be below AM on strong local stations at the same
	// setting of the volume. At half the voltage or less, after the usual cleaning
	// and parts, the trade looks for drifted alignment or a weak stage. Loudness of
	// programmes alone varies by several dB, so several stations are compared.
	FMBelow float64
	// Up to BalanceGood two channels are taken for equal, beyond BalanceFault for
	// unequal by a fault.
	BalanceGood, BalanceFault float64
	SeparationUsual           float64 // of FM stereo of the era, at the least
}

// UsualLevels are the thresholds to take where nobody says others.
var UsualLevels = LevelRules{FMBelow: 6, BalanceGood: 1, BalanceFault: 3, SeparationUsual: 20}

// BalanceRange is where a balance lies by LevelRules.
type BalanceRange uint8

// The ranges.
const (
	BalanceEqual BalanceRange = iota
	BalanceBetween
	BalanceFaulty
)

// FMIsLow reports whether FM, so many dB over AM, is down to the threshold. Half
// the voltage is -6.02 dB and so at or below the usual -6.
func (l LevelRules) FMIsLow(fmOverAM float64) bool { return fmOverAM <= -l.FMBelow }

// Balance sorts a balance of so many dB, right over left.
func (l LevelRules) Balance(db float64) BalanceRange {
	switch size := math.Abs(db); {
	case size <= l.BalanceGood:
		return BalanceEqual
	case size > l.BalanceFault:
		return BalanceFaulty
	}
	return BalanceBetween
}

// MeanLevel gives the mean of readings as a level over 1 V in dB, taken in power:
// of volts across equal impedances, or of dB over 1 V, or of a mix of the two.
// spread is from the lowest to the highest, in dB. It refuses no readings, other
// units, and a voltage that is not above zero.
func MeanLevel(readings []Value) (dbv, spread float64, err error) {
	if len(readings) == 0 {
		return 0, 0, errors.New("mean level: there are no readings")
	}
	sum, low, high := 0.0, math.Inf(1), math.Inf(-1)
	for _, v := range readings {
		level, err := levelOf(v)
		if err != nil {
			return 0, 0, err
		}
		sum += math.Pow(10, level/10)
		low, high = min(low, level), max(high, level)
	}
	return 10 * math.Log10(sum/float64(len(readings))), high - low, nil
}

// levelOf is a reading as a level over 1 V, in dB.
func levelOf(v Value) (float64, error) {
	switch {
	case v.Unit == DecibelVolt && (v.Mant == 0 || v.magnitude() <= 2):
		return v.Float(), nil
	case v.Unit == Volt && v.Mant > 0:
		return 20 * math.Log10(v.Float()), nil
	}
	return 0, fmt.Errorf("level of %s: want a voltage above zero, or dB over 1 V", v.Canonical())
}

// VoltsAtZeroDBu is the voltage of 0 dBu: 1 mW in 600 ohm.
var VoltsAtZeroDBu = math.Sqrt(0.6)
