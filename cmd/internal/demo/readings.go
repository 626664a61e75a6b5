package demo

import (
	"strconv"

	"oldhand/events"
)

// scale is how a reading is written: so many decimals of a unit with a symbol,
// and the power of ten and the UCUM code of the base unit behind it.
type scale struct {
	decimals int
	symbol   string
	exp      int8
	unit     string
}

var (
	millivolts = scale{0, " mV", -3, "V"}
	volts1     = scale{1, " V", 0, "V"}
	volts2     = scale{2, " V", 0, "V"}
	kilohertz  = scale{0, " kHz", 3, "Hz"}
	megahertz  = scale{2, " MHz", 6, "Hz"}
	decibels   = scale{1, " dB", 0, "dB"}
)

// reading is a reading of n in the last decimal of a scale.
func reading(point, measure, stage, instrument string, n int, s scale) events.ReadingTaken {
	return events.ReadingTaken{Point: point, Measure: measure, Text: decimal(n, s.decimals, s.symbol),
		Value: exactly(int64(n), s.exp-int8(s.decimals), s.unit), Stage: stage, Instrument: instrument}
}

// exactly is a quantity in the form that equal ones share: without zeros at the
// end of its mantissa.
func exactly(mant int64, exp int8, unit string) events.Quantity {
	if mant == 0 {
		return events.Quantity{Unit: unit}
	}
	for mant%10 == 0 {
		mant, exp = mant/10, exp+1
	}
	return events.Quantity{Mant: mant, Exp: exp, Unit: unit}
}

// decimal writes n with its last digits behind a point, and a symbol behind
// that.
func decimal(n, decimals int, symbol string) string {
	var room [32]byte
	b := room[:0]
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	by := 1
	for range decimals {
		by *= 10
	}
	b = strconv.AppendInt(b, int64(n/by), 10)
	if decimals > 0 {
		b = append(b, '.')
	}
	for n %= by; by > 1; n %= by {
		by /= 10
		b = append(b, '0'+byte(n/by))
	}
	return string(append(b, symbol...))
}

// The shop's instruments, by the names that readings are taken under.
const (
	levelMeter   = "AC millivoltmeter"
	voltmeter    = "bench multimeter"
	leakageMeter = "hot check network"
	generator    = "signal generator"
	signalTracer = "signal tracer"
)

// asFound takes the readings that a bench begins with.
func (v *visit) asFound(e *entry) {
	d, m := e.teller.dice, v.unit.model
	weakAll, weakFM := v.weak()
	switch {
	case m.fm:
		am := d.near(95, 30)
		if weakAll {
			am = am * d.between(15, 60) / 100
		}
		fm := am + d.near(0, 12)
		if weakFM {
			fm = am * d.between(15, 55) / 100
		}
		if d.chance(450) {
			e.say(reading("AM", "audio-level-am", events.AsFound, levelMeter, max(am, 1), millivolts))
		}
		if weakFM || d.chance(350) {
			e.say(reading("FM", "audio-level-fm", events.AsFound, levelMeter, max(fm, 1), millivolts))
		}
	case m.group == station:
	case d.chance(500):
		e.say(v.level(d, events.AsFound, weakAll))
	}
	if weakAll && d.chance(500) {
		e.say(reading("supply at the filter", "ripple", events.AsFound, voltmeter, d.near(900, 500), millivolts))
	}
}

// weak says whether a visit's faults are heard on every source, and on FM.
func (v *visit) weak() (all, fm bool) {
	for _, f := range v.faults[:v.n] {
		all, fm = all || f.level, fm || f.radio
	}
	return all, fm
}

// level is the audio level of a set that has no FM.
func (v *visit) level(d dice, stage string, weak bool) events.ReadingTaken {
	n := d.near(110, 30)
	if weak {
		n = n * d.between(10, 60) / 100
	}
	if v.unit.model.kind == "phono-amplifier" {
		return reading("phono", "audio-level-phono", stage, levelMeter, max(n, 1), millivolts)
	}
	return reading("AM", "audio-level-am", stage, levelMeter, max(n, 1), millivolts)
}

// asLeft takes the readings that a set leaves with.
func (v *visit) asLeft(e *entry) {
	d, m := e.teller.dice, v.unit.model
	switch {
	case m.fm:
		am := d.near(130, 35)
		if d.chance(600) {
			e.say(reading("AM", "audio-level-am", events.AsLeft, levelMeter, am, millivolts))
			e.say(reading("FM", "audio-level-fm", events.AsLeft, levelMeter, am+d.near(0, 14), millivolts))
		}
		v.dial(e)
	case m.group == station:
		if d.chance(600) {
			e.say(events.ReadingTaken{Point: "talks and listens", Measure: "check", Text: "yes",
				Value: events.Quantity{Mant: 1, Unit: "{yes}"}, Stage: events.AsLeft})
		}
	case d.chance(700):
		e.say(v.level(d, events.AsLeft, false))
	}
	if m.stereo && d.chance(450) {
		e.say(reading("right over left", "channel-balance", events.AsLeft, levelMeter, d.near(0, 18), decibels))
	}
	v.supply(e)
}

// dial holds the dial against a station of the band.
func (v *visit) dial(e *entry) {
	d := e.teller.dice
	switch n := d.below(1000); {
	case n < 90:
		station := 540 + 10*d.below(100)
		r := reading("AM dial", "dial-am", events.AsLeft, "", station+d.near(0, 9), kilohertz)
		r.Conditions = "station on " + strconv.Itoa(station) + " kHz"
		e.say(r)
	case n < 180:
		station := 8810 + 20*d.below(99)
		r := reading("FM dial", "dial-fm", events.AsLeft, "", station+d.near(0, 14), megahertz)
		r.Conditions = "station on " + decimal(station/10, 1, " MHz")
		e.say(r)
	}
}

// supply takes the readings of the power supply. The hot check is a reading
// with the limit it was held against; nobody is told that a set is safe.
func (v *visit) supply(e *entry) {
	d, m := e.teller.dice, v.unit.model
	if m.group == station {
		return
	}
	if d.chance(180) {
		volts := d.near(240, 60) // tenths
		if m.group.tubes() {
			volts *= 9
		}
		e.say(reading("main supply", "supply-voltage", events.AsLeft, voltmeter, volts, volts1))
	}
	if d.chance(120) {
		e.say(reading("supply at the filter", "ripple", events.AsLeft, voltmeter, d.near(14, 10), millivolts))
	}
	if d.chance(300) {
		r := reading("exposed metal to earth, worst of both plug ways", "hot-check-voltage", events.AsLeft, leakageMeter, d.near(22, 20), volts2)
		r.Limits = "0.75 V"
		e.say(r)
	}
}
