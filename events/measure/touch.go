package measure

import (
	"fmt"
	"math"
)

// The hot-check network stands between an exposed metal part and earth, the set
// plugged straight into the outlet: many makers' service manuals give it alike.
const (
	hotCheckOhm   = 1500
	hotCheckFarad = 0.15e-6
)

// The weighted network of IEC 60990: 1500 ohm with 0.22 uF across, in series
// with 500 ohm; across the 500 ohm, 10 kohm and 0.022 uF in series. U2 is the
// voltage over that last capacitor.
const (
	weightedOhm      = 500
	weightedSeries   = 10e3
	weightedFarad    = 0.022e-6
	weightedTimesOhm = weightedOhm + weightedSeries
)

// HotCheckCurrent gives the current through the hot-check network from the
// voltage over it, in mA: through resistor and capacitor at this frequency, and
// by the shortcut V/1500 that service manuals use. They differ by 0.4 % at
// 60 Hz; a record says which one it holds.
//
// The result is a number, not a verdict: nothing here declares a set safe. Limits
// differ between makers (0.75 V in many manuals, 0.15 V in one) and belong
// beside the reading. The check is made without an isolation transformer, with
// the plug both ways round and the switch on and off. It refuses a value that is
// no voltage and a frequency not above zero.
func HotCheckCurrent(volts Value, hz int) (throughMA, shortcutMA float64, err error) {
	if err := wantVolts("hot-check current", volts, hz); err != nil {
		return 0, 0, err
	}
	v := volts.Float()
	return 1000 * v / hotCheckImpedance(hz), 1000 * v / hotCheckOhm, nil
}

// HotCheckVoltage gives what the hot-check network reads, in volts, on a sound
// set whose only path from line to chassis is a capacitor. With 0.01 uF at 120 V
// and 60 Hz it is 0.68 V: a sound old two-wire set can read close to a limit, and
// a leaky capacitor reads more. It is no verdict on a set.
func HotCheckVoltage(line Value, hz int, capacitor Value) (float64, error) {
	if err := wantVolts("hot-check voltage", line, hz); err != nil {
		return 0, err
	}
	if err := wantFarads("hot-check voltage", capacitor); err != nil {
		return 0, err
	}
	w := omega(hz)
	network := 1 / complex(1.0/hotCheckOhm, w*hotCheckFarad)
	series := complex(0, -1/(w*capacitor.Float()))
	part := network / (network + series)
	return line.Float() * math.Hypot(real(part), imag(part)), nil
}

// TouchCurrent gives the touch current from U2 of the IEC 60990 network, in mA:
// weighted, which is U2/500 and what limits are written for, and the actual
// current at this frequency. The network weighs high frequencies less, so above
// a few hundred Hz the actual current is larger for the same U2.
//
// The result is rms if U2 was rms and peak if it was peak: the record must say
// which, they are a factor of 1.414 apart. IEC 60990 itself sets no limits and
// nothing here declares a set safe. It refuses a value that is no voltage and a
// frequency not above zero.
func TouchCurrent(u2 Value, hz int) (weightedMA, actualMA float64, err error) {
	if err := wantVolts("touch current", u2, hz); err != nil {
		return 0, 0, err
	}
	weighted := 1000 * u2.Float() / weightedOhm
	return weighted, weighted * math.Hypot(1, omega(hz)*weightedFarad*weightedTimesOhm), nil
}

// CapacitorLeak gives the current through a sound capacitor between line and
// chassis, in mA: V times w times C. A leaky one passes more; this is the least
// there is, and no verdict on a set.
func CapacitorLeak(line Value, hz int, capacitor Value) (mA float64, err error) {
	if err := wantVolts("current through a capacitor", line, hz); err != nil {
		return 0, err
	}
	if err := wantFarads("current through a capacitor", capacitor); err != nil {
		return 0, err
	}
	return 1000 * line.Float() * omega(hz) * capacitor.Float(), nil
}

func hotCheckImpedance(hz int) float64 {
	return 1 / math.Hypot(1.0/hotCheckOhm, omega(hz)*hotCheckFarad)
}

func omega(hz int) float64 { return 2 * math.Pi * float64(hz) }

func wantVolts(what string, v Value, hz int) error {
	if v.Unit != Volt || v.Mant < 0 {
		return fmt.Errorf("%s from %s: want a voltage, not below zero", what, v.Canonical())
	}
	if hz <= 0 {
		return fmt.Errorf("%s at %d Hz: the frequency must be above zero", what, hz)
	}
	return nil
}

func wantFarads(what string, v Value) error {
	if v.Unit != Farad || v.Mant <= 0 {
		return fmt.Errorf("%s through %s: want a capacitance above zero", what, v.Canonical())
	}
	return nil
}
