package measure_test

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"oldhand/events/measure"
)

// numberTyped draws a number as somebody could type it, also one that no meter shows.
func numberTyped(t *rapid.T) string {
	n := rapid.StringMatching(`-?[0-9]{1,18}`).Draw(t, "digits")
	if at := rapid.IntRange(0, len(n)).Draw(t, "point"); at > 0 && at < len(n) && n[at-1] != '-' {
		n = n[:at] + "." + n[at:]
	}
	if rapid.Bool().Draw(t, "with exponent") {
		n += fmt.Sprintf("e%d", rapid.IntRange(-35, 20).Draw(t, "exponent"))
	}
	return n
}

// same reports whether two limits hold the same and are shown so.
func same(a, b measure.Limits) bool {
	return a.Low == b.Low && a.High == b.High && a.Beside == b.Beside && a.Strict() == b.Strict()
}

func TestLimitsAsWrittenAreReadToTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(measure.Kinds).Draw(t, "kind")
		value := func() string {
			return numberTyped(t) + rapid.SampledFrom([]string{"", " " + k.Symbol(), " %", " dB", " kV", " GHz"}).Draw(t, "unit")
		}
		form := rapid.SampledFrom([]string{"A +- B", "A to B", "within A", "within A of B", "within A of AM", "at most A", "over B", "between A and B of AM"}).Draw(t, "form")
		text := strings.NewReplacer("A ", value()+" ", " B", " "+value()).Replace(form + " ")
		l, err := k.ReadLimits(text)
		if err != nil {
			return
		}
		if again, err := k.ReadLimits(l.String()); err != nil || !same(again, l) {
			t.Fatalf("%s: %q is written %q, which is read as %q, %v", k.ID, text, l, again, err)
		}
	})
}

func TestLimitsOfASheetAreWrittenAsTheyAreHeld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(measure.Kinds).Draw(t, "kind")
		end := func() string {
			return rapid.SampledFrom([]string{"", numberTyped(t) + rapid.SampledFrom([]string{"", " " + k.Symbol(), " GHz", " mV"}).Draw(t, "unit")}).Draw(t, "end")
		}
		l, err := k.LimitsOf(end(), end(), "")
		if err != nil {
			return
		}
		if again, err := k.ReadLimits(l.String()); err != nil || !same(again, l) {
			t.Fatalf("%s: a sheet's %q to %q is written %q, which is read as %q, %v", k.ID, l.Low, l.High, l, again, err)
		}
	})
}
