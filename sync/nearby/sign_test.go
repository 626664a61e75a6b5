package nearby_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/nearby"
	"oldhand/sync/segment"
)

// sign is that of an invented shop's exchange.
func sign(n byte) nearby.Sign {
	return nearby.Sign{Tag: nearby.TagOf(segment.TagOf(events.ShopID{n})), Pin: nearby.Pin{0: 0xab, 15: n}}
}

// The texts are part of the format: another version of the program reads them.
// Tag and pin are what Python's hashlib.sha256 and base64.b32encode make of the
// rules as they are written (segment.TagOf, and the package comment).
func TestASignIsWrittenAsDrawn(t *testing.T) {
	want := []string{"txtvers=1", "tag=soqbvxql", "pin=vmaaaaaaaaaaaaaaaaaaaaaaa4"}
	if got := sign(7).Texts(); !slices.Equal(got, want) {
		t.Fatalf("%q, want %q", got, want)
	}
}

func TestASignIsReadBack(t *testing.T) {
	for n := range byte(50) {
		s, err := nearby.ReadSign(sign(n).Texts())
		if err != nil || s != sign(n) {
			t.Fatalf("%v, %v; want %v", s, err, sign(n))
		}
	}
}

// Anybody on the network can write these (P10, F25).
func TestWhatIsNoSignIsRefused_P10_F25(t *testing.T) {
	good := sign(7).Texts()
	swap := func(i int, text string) []string {
		texts := slices.Clone(good)
		texts[i] = text
		return texts
	}
	for name, texts := range map[string][]string{
		"nothing":                   nil,
		"no version":                good[1:],
		"a later version":           swap(0, "txtvers=2"),
		"no tag":                    {good[0], good[2]},
		"a tag too short":           swap(1, good[1][:len(good[1])-1]),
		"a tag too long":            swap(1, good[1]+"a"),
		"a tag of other letters":    swap(1, "tag=abcdef\\1"),
		"no pin":                    good[:2],
		"a pin too short":           swap(2, good[2][:len(good[2])-1]),
		"a pin too long":            swap(2, good[2]+"a"),
		"a pin of other letters":    swap(2, strings.ToUpper(good[2])),
		"a second spelling of one":  swap(2, good[2][:len(good[2])-1]+"5"),
		"a line break within a pin": swap(2, good[2][:10]+"\n"+good[2][10:]),
		"too many texts":            append(slices.Clone(good), slices.Repeat([]string{"more=1"}, 14)...),
		"a text too long":           append(slices.Clone(good), "more="+strings.Repeat("x", 251)),
	} {
		t.Run(name, func(t *testing.T) {
			if s, err := nearby.ReadSign(texts); !errors.Is(err, nearby.ErrNotSign) {
				t.Errorf("read as %v, %v", s, err)
			}
		})
	}
}

// RFC 6763, section 6.4.
func TestTextsAreReadAsTheStandardWants(t *testing.T) {
	good := sign(7).Texts()
	for name, texts := range map[string][]string{
		"keys in capitals":         {"TXTVERS=1", "Tag=" + good[1][4:], "PIN=" + good[2][4:]},
		"another order":            {good[2], good[0], good[1]},
		"the first of two counts":  append(slices.Clone(good), "tag=zzzzzzzz", "TXTVERS=9"),
		"keys of later versions":   append(slices.Clone(good), "more=1", "flag"),
		"texts without a key":      append([]string{"=1", ""}, good...),
		"as many as are looked at": append(slices.Clone(good), slices.Repeat([]string{"more=1"}, 13)...),
		"as long as can be":        append(slices.Clone(good), "more="+strings.Repeat("x", 250)),
	} {
		t.Run(name, func(t *testing.T) {
			if s, err := nearby.ReadSign(texts); err != nil || s != sign(7) {
				t.Errorf("read as %v, %v", s, err)
			}
		})
	}
}

// No texts stop the program, and what is read as a sign is written as one that
// is read alike (P10).
func FuzzReadSign(f *testing.F) {
	good := sign(7).Texts()
	f.Add(strings.Join(good, "\n"))
	f.Add(strings.Join(append(good, "more=1", "=", ""), "\n"))
	f.Add("txtvers=1\ntag=abcdefgh\npin=")
	f.Fuzz(func(t *testing.T, all string) {
		s, err := nearby.ReadSign(strings.Split(all, "\n"))
		if err != nil {
			if !errors.Is(err, nearby.ErrNotSign) || s != (nearby.Sign{}) {
				t.Fatalf("%v with %v", err, s)
			}
			return
		}
		if again, err := nearby.ReadSign(s.Texts()); err != nil || again != s {
			t.Fatalf("%v is written as %v, %v", s, again, err)
		}
	})
}
