package events_test

import (
	"strings"
	"testing"
	"unicode"

	"oldhand/events"

	"pgregory.net/rapid"
)

// Which spellings are one serial: common practice, no source. Which characters
// are compatible forms of which: Unicode Standard Annex 15, form NFKC.
func TestSpellingsOfOneSerialHaveOneKey(t *testing.T) {
	for want, spellings := range map[string][]string{
		"E2953541": {
			"E29 53541", "e29-53541", "E2953541", " E29  53541 ", "E29/53541", "e29.53541", "E29_53541", "E29\u00a053541",
			"E29\u201353541",                          // en dash
			"E29\u201453541",                          // em dash
			"E29\u221253541",                          // minus sign
			"E29\u00ad53541",                          // soft hyphen
			"E29\u200b53541",                          // zero width space
			"\uff2529\uff0d53541",                     // full-width E and hyphen
			"\uff45\uff12\uff19 53\uff15\uff14\uff11", // full-width digits
			"E\u00b2\u2079 53541",                     // raised digits
			"\u24ba29 53541",                          // circled E
			"#E29-53541",
		},
		"MS40\u00c4": {"ms-40\u00e4", "MS 40\u00c4", "ms40a\u0308", "MS40A\u0308"}, // composed and not
		"\u0416420":  {"\u0436-420", "\u0416 420"},                                 // Cyrillic zhe
		"\u03a9MEGA": {"\u03c9mega", "\u2126-MEGA"},                                // omega, and the ohm sign
		"UF2":        {"uF 2", "\uff35F2"},
		"\u039cF2":   {"\u00b5F 2", "\u03bcF-2", "\u039cf2"}, // micro sign and Greek mu are one, and not u
		"K7":         {"\u212a7", "k-7"},                     // Kelvin sign
		"FI2":        {"\ufb012", "fi-2"},                    // a ligature
		"":           {"", " ", "-", "\u2013\u2013", "?!", "\u0308"},
	} {
		for _, s := range spellings {
			if got := events.Key(s); got != want {
				t.Errorf("key of %q is %q, want %q", s, got, want)
			}
		}
	}
}

// What a person reads as two serials stays two: O and 0, I and 1 are told
// apart, and no letter beyond ASCII is lost.
func TestDifferentSerialsKeepDifferentKeys(t *testing.T) {
	seen := map[string]string{}
	for _, s := range []string{"E29 53541", "E29 53540", "F29 53541", "2953541", "O29", "029", "I29", "129", "\u00c4 29", "A 29", "\u0410 29", "\u0416 29", "29", "\u0663 29"} {
		k := events.Key(s)
		if other, ok := seen[k]; ok {
			t.Errorf("%q and %q have one key %q", s, other, k)
		}
		seen[k] = s
	}
}

// A stored key is compared with keys again: it must be its own key. Every
// character, and mixtures that compose once what stands between them is gone.
func TestAKeyIsItsOwnKey(t *testing.T) {
	for r := rune(0); r <= unicode.MaxRune; r++ {
		if k := events.Key(string(r)); events.Key(k) != k {
			t.Fatalf("key of %U is %q, whose key is %q", r, k, events.Key(k))
		}
	}
	for _, s := range []string{"\u1100-\u1161", "\u1100-\u1161.\u11a8", "\uac00-\u11a8", "a-\u0308", "\u0131\u0307", "\u1e9e\u00df"} {
		if k := events.Key(s); events.Key(k) != k {
			t.Errorf("key of %q is %q, whose key is %q", s, k, events.Key(k))
		}
	}
	awkward := rapid.SampledFrom([]rune("aZ09-\u2013 \u00e4\u0308\u0131\u0307\u017f\u00df\u1100\u1161\u11a8\uac00\uff21\uff11\u00b2\u03c9\u0345\u0399\u01c5\ufb01\u0663\u02bc\u10d0\u13a0\uab70"))
	texts := rapid.OneOf(rapid.String(), rapid.StringOf(awkward))
	rapid.Check(t, func(t *rapid.T) {
		s := texts.Draw(t, "typed")
		k := events.Key(s)
		if events.Key(k) != k {
			t.Fatalf("key of %q is %q, whose key is %q", s, k, events.Key(k))
		}
		if strings.ContainsFunc(k, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			t.Fatalf("key of %q is %q, with more than letters and digits", s, k)
		}
		if spaced := strings.Join(strings.Split(k, ""), "-"); events.Key(spaced) != events.Key(k) && !hasJamo(k) {
			t.Fatalf("%q and %q have keys %q and %q", k, spaced, k, events.Key(spaced))
		}
		if events.Key(strings.ToLower(k)) != k && isASCII(k) {
			t.Fatalf("the case of %q matters", k)
		}
	})
}

// hasJamo reports Korean letters that compose to syllables.
func hasJamo(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return unicode.Is(unicode.Hangul, r) })
}

func isASCII(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r >= 0x80 })
}
