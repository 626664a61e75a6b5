package oddshop_test

import (
	"testing"

	"oldhand/cmd/internal/oddshop"
	"oldhand/events"
)

func TestAnOddShopHasEveryKindThatThereIs(t *testing.T) {
	for seed := range uint64(3) {
		s, err := oddshop.Make(t.TempDir(), seed)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range events.Kinds {
			if s.Count[row.Kind] == 0 {
				t.Errorf("seed %d: the odd bench said nothing of kind %s", seed, row.Name)
			}
		}
		if s.Persons < 4 || len(s.Odd) < 10 {
			t.Errorf("seed %d: %d customers and %d units", seed, s.Persons, len(s.Odd))
		}
	}
}
