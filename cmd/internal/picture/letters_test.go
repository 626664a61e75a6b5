package picture

import (
	"slices"
	"strings"
	"testing"
)

func TestACutFallsBetweenSigns(t *testing.T) {
	mechanic := "👩🏽‍🔧" // woman, tone of skin, joiner, wrench: one sign (Unicode, emoji sequences)
	for s, want := range map[string][]string{
		mechanic + mechanic: {mechanic, mechanic},
		"e\u0301a":          {"e\u0301", "a"}, // an accent of its own
		"🇩🇪🇫🇷":              {"🇩🇪", "🇫🇷"},     // flags are pairs
		"❤\ufe0fx":          {"❤\ufe0f", "x"},
		"Ω1":                {"Ω", "1"},
	} {
		if got := signs(s); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	}
}

func TestACutTextFitsAndTellsThatItIsCut(t *testing.T) {
	for _, s := range append(awkward, "coupling capacitor 0.022 µF") {
		got := cut(s, 60, letters)
		if w := widthOf(got, letters); w > 60 {
			t.Errorf("%q is %.1f wide", got, w)
		}
		if got != s && (!strings.HasSuffix(got, ellipsis) || !strings.HasPrefix(s, strings.TrimSuffix(got, ellipsis))) {
			t.Errorf("%q is cut to %q", s, got)
		}
	}
}

func TestALongNameGoesOnASecondLineAndKeepsItsUnit(t *testing.T) {
	for name, want := range map[string][]string{
		"lamp":                            {"lamp"},
		"coupling capacitor 0.022 µF":     {"coupling capacitor", "0.022 µF"},
		"filter capacitor 47 µF":          {"filter capacitor", "47 µF"},
		"ratio detector out of alignment": {"ratio detector out of", "alignment"},
		strings.Repeat("x", 50):           {strings.Repeat("x", 50)},
	} {
		if got := nameLines(name, 132, letters); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

func TestWrappingLosesNoWord(t *testing.T) {
	s := "Half of the visits (declined) ended within 20 days, nine of ten within 37. " + strings.Repeat("y", 90)
	lines := wrap(s, 120, letters)
	if got := strings.Join(lines, ""); strings.ReplaceAll(got, " ", "") != strings.ReplaceAll(s, " ", "") {
		t.Errorf("lost in %q", lines)
	}
	for _, l := range lines {
		if widthOf(l, letters) > 120 {
			t.Errorf("%q is too wide", l)
		}
	}
}
