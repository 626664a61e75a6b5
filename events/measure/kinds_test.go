package measure_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"oldhand/events/measure"
)

func TestEveryRowOfTheTableOfKindsIsWhole(t *testing.T) {
	id := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	seen := map[string]bool{}
	for _, k := range measure.Kinds {
		if seen[k.ID] || seen[k.Name] || !id.MatchString(k.ID) || k.Name == "" {
			t.Errorf("kind %q %q: id or name is missing, misspelled or used twice", k.ID, k.Name)
		}
		seen[k.ID], seen[k.Name] = true, true
		if strings.TrimSpace(k.Source) == "" || k.Low >= k.High {
			t.Errorf("%s: range %d to %d from %q", k.ID, k.Low, k.High, k.Source)
		}
		if len(k.Units) == 0 {
			t.Errorf("%s: no unit", k.ID)
		}
		if found, ok := measure.Find(k.ID); !ok || found.Name != k.Name {
			t.Errorf("Find(%s) gives %q, %v", k.ID, found.Name, ok)
		}
	}
	if _, ok := measure.Find("no-such-kind"); ok {
		t.Error("an unknown kind was found")
	}
}

func TestEveryUnitOfEveryKindIsReadAndKeepsTheTextAsTyped(t *testing.T) {
	for _, k := range measure.Kinds {
		if k.Quantity == measure.YesNo {
			continue
		}
		for _, unit := range append(k.Units, "") {
			text := "  17.50 " + unit + " "
			v, _, err := k.Read(text)
			if err != nil || v.Text != text {
				t.Errorf("%s reads %q as %+v, %v", k.ID, text, v, err)
			}
		}
		bare, _, _ := k.Read("17.5")
		first, _, _ := k.Read("17.5 " + k.Units[0])
		if !bare.Same(first) {
			t.Errorf("%s: a bare number is %s, with %s it is %s", k.ID, bare.Canonical(), k.Units[0], first.Canonical())
		}
		for _, text := range []string{bare.Canonical(), k.Format(bare)} {
			again, _, err := k.Read(text)
			if err != nil || text == bare.Canonical() && !again.Same(bare) || k.Format(again) != k.Format(bare) {
				t.Errorf("%s shows %s and reads it back as %s, %v", k.ID, text, again.Canonical(), err)
			}
		}
	}
}

func TestARangeWarnsAndNeverRefusesOrRewrites(t *testing.T) {
	for _, k := range measure.Kinds {
		if k.Quantity == measure.YesNo {
			continue
		}
		unit := measure.Value{Mant: 1, Unit: first(t, k).Unit}
		for _, end := range []int64{k.Low, k.High} {
			inside := measure.Value{Mant: end, Exp: k.Exp, Unit: unit.Unit}
			if v, warnings, err := k.Read(inside.Canonical()); err != nil || len(warnings) != 0 || !v.Same(inside) {
				t.Errorf("%s at the end of its range, %s: %v, %v", k.ID, inside.Canonical(), warnings, err)
			}
		}
		for _, beyond := range []measure.Value{
			{Mant: k.High*1000 + 1, Exp: k.Exp - 3, Unit: unit.Unit}, {Mant: k.Low*1000 - 1, Exp: k.Exp - 3, Unit: unit.Unit},
		} {
			v, warnings, err := k.Read(beyond.Canonical())
			if err != nil || !v.Same(beyond) || len(warnings) != 1 || !strings.Contains(warnings[0], k.Source) {
				t.Errorf("%s beyond its range, %s: %s, %v, %v", k.ID, beyond.Canonical(), v.Canonical(), warnings, err)
			}
		}
	}
}

func first(t *testing.T, k measure.Kind) measure.Value {
	t.Helper()
	v, _, err := k.Read("1")
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func kind(t *testing.T, id string) measure.Kind {
	t.Helper()
	k, ok := measure.Find(id)
	if !ok {
		t.Fatalf("no kind %s", id)
	}
	return k
}

// The readings are invented; units and roundings follow from the rows.
func TestReadingsAreTakenAsBenchesTypeThem(t *testing.T) {
	for _, c := range []struct{ id, text, form, shown string }{
		{"audio-level-am", "93", "93 mV", "93 mV"},
		{"audio-level-fm", "0.155 V", "155 mV", "155 mV"},
		{"audio-level-fm", "-12.5 dBV", "-12.5 dBV", "-12.5 dBV"},
		{"dial-am", "663", "663 kHz", "663 kHz"},
		{"dial-am", "1.004 MHz", "1.004 MHz", "1004 kHz"},
		{"dial-fm", "94.62", "94.62 MHz", "94.62 MHz"},
		{"distortion", "0.35", "0.35 %", "0.35 %"},
		{"distortion", "-40 dB", "-40 dB", "-40 dB"},
		{"channel-balance", "-1.05", "-1.05 dB", "-1.1 dB"},
		{"channel-balance", "1.04", "1.04 dB", "1.0 dB"},
		{"capacitance", "104K", "0.1 µF", "0.1000 µF"},
		{"capacitance", "22", "22 µF", "22.0000 µF"},
		{"esr", "50 mΩ", "0.05 Ω", "0.05 Ω"},
		{"current", "0.00004 mA", "40 nA", "0.0 mA"},
		{"speed", "33.4 rpm", "33.4 rpm", "33.40 rpm"},
		{"check", "OK", "yes", "yes"},
		{"check", "fail", "no", "no"},
	} {
		k := kind(t, c.id)
		v, _, err := k.Read(c.text)
		if err != nil || v.Canonical() != c.form || k.Format(v) != c.shown {
			t.Errorf("%s %q: %s shown as %s, %v; want %s, %s", c.id, c.text, v.Canonical(), k.Format(v), err, c.form, c.shown)
		}
	}
}

func TestExtremeValuesAreShownWithoutLosingTheirSize(t *testing.T) {
	k := kind(t, "supply-voltage") // one decimal
	for _, c := range []struct {
		mant int64
		exp  int8
		want string
	}{
		{123456789012345678, 2, "12345678901234567800 V"}, {1, -30, "0.0 V"}, {9e18, -30, "0.0 V"},
		{math.MinInt64, -1, "-922337203685477580.8 V"}, {math.MinInt64, -3, "-9223372036854775.8 V"}, {math.MaxInt64, -18, "9.2 V"}, {-4, -2, "0.0 V"}, {-5, -2, "-0.1 V"},
		{49, -3, "0.0 V"}, {5, -2, "0.1 V"}, {1, 20, "100000000000000000000 V"},
	} {
		if got := k.Format(measure.Value{Mant: c.mant, Exp: c.exp, Unit: measure.Volt}); got != c.want {
			t.Errorf("%d x 10^%d V is shown as %s, want %s", c.mant, c.exp, got, c.want)
		}
	}
	if got := (measure.Value{Mant: 15, Exp: -1, Unit: "lm"}).Canonical(); got != "1.5 lm" {
		t.Errorf("a unit of a later version is shown as %s", got)
	}
}

func TestAReadingThatIsNoneNamesItsKind(t *testing.T) {
	for _, c := range [][3]string{
		{"dial-am", "12 V", `Dial reading, AM: read "12 V" as frequency: "V" is not a unit of frequency`},
		{"dial-am", "stuck", "no number found"},
		{"check", "12", "want yes, ok or pass, or no or fail"},
		{"esr", "1,200", "the comma is a thousands mark or a decimal comma"},
	} {
		if v, _, err := kind(t, c[0]).Read(c[1]); err == nil || !strings.Contains(err.Error(), c[2]) || v.Text != c[1] {
			t.Errorf("%s %q: %+v, %v; want %s", c[0], c[1], v, err, c[2])
		}
	}
	_, warnings, err := kind(t, "resistance").Read("2.2 M")
	if err != nil || len(warnings) != 1 || !strings.Contains(warnings[0], "old diagrams") {
		t.Errorf("the doubt about M is not passed on: %v, %v", warnings, err)
	}
}

func BenchmarkRead(b *testing.B) {
	k, _ := measure.Find("audio-level-am")
	for b.Loop() {
		k.Read("93")
	}
}
