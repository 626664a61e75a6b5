package measure

import (
	"fmt"
	"math"
)

// Discharge is a charged capacitor emptying through a resistor. All its results
// are arithmetic on marked values. They do not make a set safe to touch: a
// bleeder can be open, a can may hold more than is printed on it, and dielectric
// absorption brings a voltage back. Measure, then trust the meter.
type Discharge struct {
	farads, ohms, volts float64
}

// NewDischarge takes the capacitance, the resistance and the voltage at the
// start. It refuses a value of another unit or not above zero.
func NewDischarge(capacitor, resistor, start Value) (Discharge, error) {
	for _, v := range []struct {
		Value
		unit Unit
		name string
	}{{capacitor, Farad, "capacitance"}, {resistor, Ohm, "resistance"}, {start, Volt, "voltage"}} {
		if v.Unit != v.unit || v.Mant <= 0 {
			return Discharge{}, fmt.Errorf("discharge with %s: want a %s above zero", v.Canonical(), v.name)
		}
	}
	return Discharge{capacitor.Float(), resistor.Float(), start.Float()}, nil
}

// TimeConstant is resistance times capacitance, in seconds.
func (d Discharge) TimeConstant() float64 { return d.ohms * d.farads }

// Joules is the energy stored at the start.
func (d Discharge) Joules() float64 { return d.farads * d.volts * d.volts / 2 }

// PeakWatts is the power in the resistor at the first moment, which a small
// resistor does not survive.
func (d Discharge) PeakWatts() float64 { return d.volts * d.volts / d.ohms }

// SecondsTo gives the time until the voltage has fallen to v; 0 if it starts
// below. 50 V is a widely used threshold (from memory), 30 V a cautious one.
// Neither is a promise: see Discharge. It refuses a value that is no voltage
// above zero.
func (d Discharge) SecondsTo(v Value) (float64, error) {
	if v.Unit != Volt || v.Mant <= 0 {
		return 0, fmt.Errorf("time to fall to %s: want a voltage above zero", v.Canonical())
	}
	return max(0, d.TimeConstant()*math.Log(d.volts/v.Float())), nil
}
