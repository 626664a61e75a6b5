package projections

import (
	"testing"

	"pgregory.net/rapid"
)

// A name of a point that is said to stand as it is compared already is what the long
// way makes of it: small letters, single spaces.
func TestNamesOfPointsAreComparedAsTheLongWayMakesThem(t *testing.T) {
	short := 0
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringOfN(rapid.SampledFrom([]rune("ab Z\t+é\x7f")), 0, 6, -1).Draw(t, "name")
		long := pointKeyOf(name)
		if pointKey(name) != long {
			t.Fatalf("%q is compared as %q, the long way as %q", name, pointKey(name), long)
		}
		if isPointKey(name) {
			short++
		}
	})
	if short == 0 {
		t.Error("none went the short way")
	}
}
