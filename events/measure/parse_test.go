package measure_test

import (
	"errors"
	"math"
	"math/big"
	"strings"
	"testing"

	"oldhand/events/measure"

	"pgregory.net/rapid"
)

// Sources: IEC 60062 for the letter codes, old radio texts for MFD, MF, MMF and
// uuF (facts as read outside the project); cycles for kc and mc from memory.
func TestEveryNotationOfOneValueComesToOneForm(t *testing.T) {
	for _, c := range []struct {
		want   measure.Quantity
		form   string
		inputs []string
	}{
		{measure.Capacitance, "47 pF", []string{
			"47 MMF", "47pF", "47 uuF", "47 MMFD", "47mmfd", "47 µµF", "47 μμF", "47p", "470J", "47.0 pf",
			"0.000047 MFD", "47 micromicrofarads", "47e-12 F", "0,047 nF", "47pFJ", " 47 M.M.F. "}},
		{measure.Capacitance, "0.1 µF", []string{
			"104K", ".1 MFD", "0.1uF", "0.1 μF", "100n", "100 nF", "u1", ".1 MF", ".1 mf", "0,1 µF", "100000 pF",
			"100,000.0 pF"}},
		{measure.Capacitance, "8 µF", []string{"8 MF", "8MFD", "8 mfd.", "8 uF", "8µ", "8 microfarad", "8 Mfd"}},
		{measure.Capacitance, "10 pF", []string{"100K", "10 pF", "10 MMF", "10p"}},
		{measure.Capacitance, "2.2 µF", []string{"2u2", "2.2 uF", "2,2 MFD", "2µ2"}},
		{measure.Resistance, "4.7 kΩ", []string{
			"4K7", "4k7", "4.7K", "4,7 kohm", "4700", "4700 ohm", "4700R", "4.7 KΩ", "4.7 kilohms", "4K7J", "4.7 k\u2126", "4.7e+03"}},
		{measure.Resistance, "1 MΩ", []string{"1 MEG", "1meg", "1 megohm", "1M0", "1000K", "1,000,000 ohms", "1.000.000 ohm", "1 MΩ"}},
		{measure.Resistance, "0.47 Ω", []string{"R47", "0R47", ".47 ohm", "470 mΩ", "0,47 Ω", "470 milliohm"}},
		{measure.Resistance, "470 Ω", []string{"470R", "470 r", "470RJ", "470"}},
		{measure.Frequency, "455 kHz", []string{"455 KC", "455 kHz", "455kc/s", "455000 cps", "0.455 MHz", ".455 mc"}},
		{measure.Frequency, "98.1 MHz", []string{"98.1 MC", "98.1 mhz", "98,1 MHz", "98100 kHz"}},
		{measure.Voltage, "-12.6 V", []string{"-12.6 V", "−12.6 volts", "- 12,6 VDC", "-12600 mV"}},
		// Commas that can only be decimal: not three digits behind, or more than
		// three before, or a 0 before.
		{measure.Voltage, "12.3456 V", []string{"12,3456 V", "12.3456 V", "12345,6 mV"}},
		{measure.Voltage, "1.000125 kV", []string{"1000,125 V", "1.000,125 V", "1,000.125 V", "+1000.125 V"}},
		{measure.Voltage, "500 µV", []string{"0,500 mV", ",5 mV", "500 uV"}},
		// 9 and 8 as a number of zeros are a tenth and a hundredth (from memory).
		{measure.Capacitance, "4.7 pF", []string{"479C", "4p7", "4.7 MMF"}},
		{measure.Capacitance, "0.47 pF", []string{"478B", "p47"}},
		{measure.Number, "17.5", []string{"17.5", "17,5", " 17.50"}},
		{measure.Power, "0.5 W", []string{"1/2 W", "1/2W", ".5 watt", "500 mW"}},
		{measure.TapeSpeed, "1.875 ips", []string{"1 7/8 ips", "1.875 in/s"}},
		{measure.Inductance, "10 mH", []string{"10 mH", "10 MH", "10m H", "0.01 henry", "10000 uH"}},
		{measure.Current, "150 mA", []string{"150 MA", "150mA", ".15 A", "0.15 amp"}},
		{measure.Ratio, "0.3 %", []string{"0.3%", ".3 percent", "0,3 %"}},
		{measure.Level, "-6 dB", []string{"-6 dB", "-6.0db", "−6 DB"}},
		{measure.YesNo, "yes", []string{"ok", "OK", "pass", "Yes", " passed "}},
		{measure.YesNo, "no", []string{"fail", "No", "FAILED"}},
	} {
		for _, text := range c.inputs {
			v, err := measure.Parse(text, c.want)
			if err != nil {
				t.Errorf("%v", err)
				continue
			}
			if v.Canonical() != c.form || v.Text != text {
				t.Errorf("%q gives %s with text %q, want %s", text, v.Canonical(), v.Text, c.form)
			}
			if again := value(t, c.form, c.want); !again.Same(v) {
				t.Errorf("%q: %s does not read back to the same value", text, c.form)
			}
		}
	}
}

// Sources: the traps listed in the reference facts; the comma rule is this
// package's own decision and stands in its documentation.
func TestTwoRealReadingsAreAskedAndNeverGuessed(t *testing.T) {
	for _, c := range []struct {
		want     measure.Quantity
		text     string
		readings string
	}{
		{measure.Resistance, "1,000 ohm", "1 kΩ|1 Ω"},
		{measure.Capacitance, "2,200 uF", "2200 µF|2.2 µF"},
		{measure.Voltage, "-1,250 V", "-1.25 kV|-1.25 V"},
		{measure.Capacitance, "250", "250 pF|250 µF"},
		{measure.Capacitance, "472", "472 pF|0.0047 µF|472 µF"},
		{measure.Capacitance, ".05", "0.05 µF"},
		{measure.Capacitance, ".5", "0.5 µF"},
		{measure.Capacitance, "1.5", "1.5 pF|1.5 µF"},
		{measure.Capacitance, ".05M", "0.05 µF"},
		{measure.Capacitance, "1,000K", "0.001 µF|1 pF|1 µF"},
		{measure.Capacitance, "1,000", "0.001 µF|1000 µF|1 µF"},
		{measure.Resistance, "1,000 m", "1 GΩ|1 Ω|1 MΩ|0.001 Ω"},
		{measure.Capacitance, "10K", "10 pF|0.01 µF"},
		{measure.Capacitance, "4.7K", "4.7 pF|0.0047 µF"},
		{measure.Capacitance, "100 K", "10 pF|0.1 µF"},
		{measure.Capacitance, "10M", "10 pF|10 µF"},
		{measure.Capacitance, "100F", "10 pF|100 F"},
		{measure.Capacitance, "470 J", "47 pF|470 pF"},
		{measure.Resistance, "2.2 m", "2.2 MΩ|0.0022 Ω"},
		{measure.Resistance, "2.2mohm", "2.2 MΩ|0.0022 Ω"},
	} {
		v, err := measure.Parse(c.text, c.want)
		var ask *measure.Ambiguous
		if !errors.As(err, &ask) {
			t.Errorf("%q gives %s, %v; want a question", c.text, v.Canonical(), err)
			continue
		}
		var got []string
		for _, r := range ask.Readings {
			got = append(got, r.Canonical())
			if r.Text != c.text {
				t.Errorf("%q: a reading has text %q", c.text, r.Text)
			}
		}
		if strings.Join(got, "|") != c.readings || ask.Text != c.text || v != (measure.Value{Text: c.text}) {
			t.Errorf("%q asks for %v of %q beside %+v, want %s", c.text, got, ask.Text, v, c.readings)
		}
	}
}

func TestAKnownTrapIsReadAndDoubted(t *testing.T) {
	for text, want := range map[string]string{
		"2.2 M ohm": "2.2 MΩ", "2.2M": "2.2 MΩ", "1 M": "1 MΩ", "103": "103 Ω", // resistors
		"8 mF": "8 µF", "33J": "33 pF", "4p7F": "4.7 pF", // capacitors
	} {
		q := measure.Resistance
		if strings.ContainsAny(want, "F") {
			q = measure.Capacitance
		}
		if v := value(t, text, q); v.Canonical() != want || v.Doubt == "" {
			t.Errorf("%q gives %s, doubt %q; want %s and a doubt", text, v.Canonical(), v.Doubt, want)
		}
	}
	for _, text := range []string{"4M7", "1 MEG", "2.2 MΩ", "470", "100"} {
		if v := value(t, text, measure.Resistance); v.Doubt != "" {
			t.Errorf("%q is doubted: %s", text, v.Doubt)
		}
	}
	for _, text := range []string{"8 MF", "104K", "8 MFD"} {
		if v := value(t, text, measure.Capacitance); v.Doubt != "" {
			t.Errorf("%q is doubted: %s", text, v.Doubt)
		}
	}
}

func TestWhatCannotBeReadIsNamedAndKept(t *testing.T) {
	for _, c := range []struct {
		want measure.Quantity
		text string
		why  string
	}{
		{measure.Capacitance, "", `read "" as capacitance: no number found`},
		{measure.Capacitance, "open", `no number found`},
		{measure.Capacitance, "47 V", `"V" is not a unit of capacitance`},
		{measure.Resistance, "4Q7", `"Q7" is not a unit of resistance`},
		{measure.Resistance, "4 Ж", `"Ж" is not a unit of resistance`},
		{measure.Resistance, "123456789012345678K9", "is not a unit of resistance"},
		{measure.Capacitance, "1e+99", "exponent out of range"},
		{measure.Resistance, "4K7QQ", `"QQ" behind the letter code is neither a unit nor a tolerance`},
		{measure.Voltage, "12", "the unit is missing"},
		{measure.Voltage, "10/25 V", "two numbers in one reading"},
		{measure.Voltage, "1.2.3 V", "points and commas do not fit one number"},
		{measure.Voltage, "12,34.5 V", "points and commas do not fit one number"},
		{measure.Voltage, "1e+18 V", "exponent out of range"},
		{measure.Voltage, "1,2,3 V", "points and commas do not fit one number"},
		{measure.Voltage, "1.2,3,4 V", "points and commas do not fit one number"},
		{measure.Voltage, "1234567890123456789 V", "more than 18 digits"},
		{measure.Voltage, "1e+80 V", "exponent out of range"},
		{measure.Voltage, "1e-80 V", "exponent out of range"},
		{measure.Voltage, "1e+999 V", "exponent out of range"},
		{measure.RotationSpeed, "33 1/3 rpm", "two numbers in one reading"},
		{measure.YesNo, "maybe", "want yes, ok or pass, or no or fail"},
		{measure.Voltage, strings.Repeat("0", 200) + " V", "longer than a value can be"},
	} {
		v, err := measure.Parse(c.text, c.want)
		if err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%q: got %+v, %v; want %s", c.text, v, err, c.why)
		}
		if v != (measure.Value{Text: c.text}) {
			t.Errorf("%q leaves %+v beside its error", c.text, v)
		}
	}
}

var quantities = []measure.Quantity{
	measure.Number, measure.Capacitance, measure.Resistance, measure.Inductance, measure.Voltage,
	measure.Current, measure.Power, measure.Frequency, measure.Time, measure.Level, measure.Ratio,
	measure.RotationSpeed, measure.TapeSpeed,
}

var units = []measure.Unit{
	measure.One, measure.Farad, measure.Ohm, measure.Henry, measure.Volt, measure.Ampere, measure.Watt,
	measure.Hertz, measure.Second, measure.Decibel, measure.Percent, measure.PerMinute, measure.InchPerSecond,
}

func TestCanonicalFormReadsBackToTheSameValueForEveryUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(units)-1).Draw(t, "unit")
		v := measure.Value{
			Mant: rapid.Int64Range(-999_999, 999_999).Draw(t, "mant"),
			Exp:  rapid.Int8Range(-20, 11).Draw(t, "exp"),
			Unit: units[i],
		}
		again, err := measure.Parse(v.Canonical(), quantities[i])
		if err != nil || !again.Same(v) || again.Doubt != "" {
			t.Fatalf("%+v is written %q and reads back as %+v, %v", v, v.Canonical(), again, err)
		}
	})
}

// The reference is exact rational arithmetic of the standard library.
func TestCompareOrdersLikeExactArithmetic(t *testing.T) {
	draw := func(t *rapid.T, label string) measure.Value {
		return measure.Value{Mant: rapid.Int64Range(-math.MaxInt64+2, math.MaxInt64-2).Draw(t, label), Exp: rapid.Int8Range(-30, 30).Draw(t, label+" exp")}
	}
	exact := func(v measure.Value) *big.Rat {
		r := new(big.Rat).SetInt64(v.Mant)
		power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(v.Exp, -v.Exp))), nil)
		if v.Exp < 0 {
			return r.Quo(r, new(big.Rat).SetInt(power))
		}
		return r.Mul(r, new(big.Rat).SetInt(power))
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw(t, "a"), draw(t, "b")
		if rapid.Bool().Draw(t, "near") { // the same size, so that the digits decide
			b = a
			for range rapid.IntRange(0, 18).Draw(t, "digits fewer") {
				b.Mant /= 10
				b.Exp++
			}
			b.Mant += rapid.Int64Range(-2, 2).Draw(t, "off")
			if rapid.Bool().Draw(t, "swap") {
				a, b = b, a
			}
		}
		if got, want := a.Compare(b), exact(a).Cmp(exact(b)); got != want {
			t.Fatalf("%v against %v: %d, want %d", a, b, got, want)
		}
		if got := a.Same(b); got != (exact(a).Cmp(exact(b)) == 0) {
			t.Fatalf("%v and %v are the same: %v", a, b, got)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"47 MMF", ".1 MFD 400V", "4K7J", "104K", "u1", "1,000 ohm", "0,047 uF", "-12.6 V", "1 7/8 ips", "2.2 m",
		"1e-12 F", "1.000.000,5", "ok", "100 K", "4p7F", "µ", "Ω", "1e+99", "\xff", "9999999999999999.99 pF",
	} {
		for q := range measure.YesNo + 1 {
			f.Add(text, uint8(q))
		}
	}
	f.Fuzz(func(t *testing.T, text string, q uint8) {
		want := measure.Quantity(q % uint8(measure.YesNo+1))
		v, err := measure.Parse(text, want)
		if v.Text != text {
			t.Fatalf("text %q came back as %q", text, v.Text)
		}
		var ask *measure.Ambiguous
		if errors.As(err, &ask) {
			if len(ask.Readings) == 0 || ask.Text != text {
				t.Fatalf("%q asks without readings: %+v", text, ask)
			}
			return
		}
		if err != nil {
			return
		}
		again, err := measure.Parse(v.Canonical(), want)
		if err != nil || !again.Same(v) {
			t.Fatalf("%q is %+v, written %q, reads back as %+v, %v", text, v, v.Canonical(), again, err)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	for _, c := range []struct {
		text string
		want measure.Quantity
	}{
		{"47 MMF", measure.Capacitance}, {".047 MFD", measure.Capacitance}, {"104K", measure.Capacitance},
		{"4K7", measure.Resistance}, {"93 mV", measure.Voltage}, {"1,000 ohm", measure.Resistance},
	} {
		b.Run(c.text, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				measure.Parse(c.text, c.want)
			}
		})
	}
}
