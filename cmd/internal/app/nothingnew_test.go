package app

import (
	"testing"
	"time"
)

// A program beside the bench's commands meets the exchange for any one thing that
// is new: an event there, a customer's key there, an action here.
func TestAnythingNewIsMetFor(t *testing.T) {
	b := beside{dir: t.TempDir(), seen: 5, seenKey: 3, stored: "an action", last: time.Now()}
	if !b.nothingNew(5, 3, "an action") {
		t.Error("something is new where nothing is")
	}
	for what, old := range map[string]bool{
		"an event there":       b.nothingNew(6, 3, "an action"),
		"a key there":          b.nothingNew(5, 4, "an action"),
		"an action here":       b.nothingNew(5, 3, "another"),
		"an exchange put back": b.nothingNew(5, 2, "an action"),
	} {
		if old {
			t.Errorf("%s is not met for", what)
		}
	}
}
