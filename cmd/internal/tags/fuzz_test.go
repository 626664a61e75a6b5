package tags_test

import (
	"strings"
	"testing"

	"oldhand/cmd/internal/tags"
)

// A label's size is typed: what is read is written as what reads alike, and is a size
// that a label can have.
func FuzzParseSize(f *testing.F) {
	for _, s := range []string{"60x30", " 50 × 25.5 ", "", "1e2x1e-3", "0x5p1x3", "NaNx3", "infx1", "200x200", "200.0001x1", "-1x3", "60x", "60x30x2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := tags.ParseSize(text)
		if err != nil {
			if s != (tags.Size{}) || !strings.Contains(err.Error(), "label ") {
				t.Fatalf("%q: %v with %v", text, err, s)
			}
			return
		}
		if !(s.W > 0 && s.W <= 200 && s.H > 0 && s.H <= 200) {
			t.Fatalf("%q is read as %v", text, s)
		}
		if again, err := tags.ParseSize(s.String()); err != nil || again != s {
			t.Fatalf("%q is %v, and that is %v (%v)", text, s, again, err)
		}
	})
}
