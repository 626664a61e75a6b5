package keyring_test

import (
	"testing"

	"oldhand/events"
	"oldhand/sync/keyring"

	"pgregory.net/rapid"
)

// drawEntry draws from few, so that equal ones meet.
func drawEntry(t *rapid.T, name string) events.KeyEntry {
	e := events.KeyEntry{Person: person}
	switch n := rapid.IntRange(0, 4).Draw(t, name); {
	case n == 0:
	case n <= 2:
		e.Key = events.PersonKey{byte(n)}
	default:
		e.Order = events.ForgetOrder{byte(n)}
	}
	return e
}

// Whatever is heard in whatever order and however often, the same is kept, and
// where an order to forget was among it, no key.
func TestForgottenWinsOverAnyKeyInAnyOrder_P15_P5(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		heard := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) events.KeyEntry { return drawEntry(t, "entry") }), 1, 8).Draw(t, "heard")
		merged := func(all []events.KeyEntry) events.KeyEntry {
			kept := events.KeyEntry{Person: person}
			for _, e := range all {
				kept = keyring.Merge(kept, e)
			}
			return kept
		}
		want := merged(heard)
		other := append(rapid.Permutation(heard).Draw(t, "other order"), heard[0])
		if got := merged(other); got != want {
			t.Fatalf("%+v, in another order %+v", want, got)
		}
		forgotten, known := false, false
		for _, e := range heard {
			forgotten, known = forgotten || e.Forgotten(), known || !e.IsNothing()
		}
		if want.Forgotten() != forgotten || want.IsNothing() == known || forgotten && want.Key != (events.PersonKey{}) {
			t.Fatalf("of %+v is kept %+v", heard, want)
		}
	})
}

func TestMergeKnowsEachCase(t *testing.T) {
	nothing := events.KeyEntry{Person: person}
	for name, c := range map[string]struct{ a, b, want events.KeyEntry }{
		"nothing and nothing": {nothing, nothing, nothing},
		"a key to nothing":    {nothing, theirs, theirs},
		"nothing to a key":    {theirs, nothing, theirs},
		"an order to a key":   {theirs, gone, gone},
		"a key to an order":   {gone, theirs, gone},
		"an order to nothing": {nothing, gone, gone},
	} {
		if got := keyring.Merge(c.a, c.b); got != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}
