package app

import "testing"

func TestAProgramIsNewerByItsNumber(t *testing.T) {
	for theirs, want := range map[string]bool{"oldhand 2": true, "oldhand 1.1": true, "oldhand 10": true, "oldhand 1.0.1": true,
		"oldhand 1": false, "oldhand 0.9": false, "oldhand 1.0": false, "": false, "oldhand": false, "oldhand two": false, "another 9": false} {
		if got := newerProgram(theirs, "oldhand 1"); got != want {
			t.Errorf("%q is newer than oldhand 1: %v", theirs, got)
		}
	}
}
