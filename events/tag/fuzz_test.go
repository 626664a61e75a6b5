package tag_test

import (
	"strings"
	"testing"

	"oldhand/events/tag"
)

// A tag is scanned or typed. What is split was made: its bench and number make the same
// tag again, so that no two tags name one set.
func FuzzSplit(f *testing.F) {
	for _, s := range []string{"10019", "10024", "900018", "99900", "0", "", "1001", "100199", "１００１９", "10019 "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		bench, n, err := tag.Split(s)
		if err != nil {
			if bench != 0 || n != 0 || !strings.Contains(err.Error(), "split tag") {
				t.Fatalf("%q: %v with %d, %d", s, err, bench, n)
			}
			return
		}
		body, err := tag.Body(bench, n)
		if err != nil || len(s) != len(body)+1 || !strings.HasPrefix(s, body) || !tag.Valid(s) {
			t.Fatalf("%q is set %d of bench %d, whose tag begins %q (%v)", s, n, bench, body, err)
		}
	})
}
