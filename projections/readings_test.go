package projections

import (
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// changing is a store of which anything may have changed since.
type changing struct{ rowStore }

func (changing) Commit() uint64                { return 1 }
func (changing) Unchanged(uint64, []byte) bool { return false }

func changingOf(rows map[string]string) changing {
	var s rowStore
	for _, k := range slices.Sorted(maps.Keys(rows)) {
		s = append(s, [2][]byte{[]byte(k), []byte(rows[k])})
	}
	return changing{s}
}

// leapt is what is read by some leaps, and by no more of them.
func leapt(r Reader, lo, hi string, leaps []string) (read []string) {
	_ = r.Leap([]byte(lo), []byte(hi), func(k, v []byte) ([]byte, error) { // the store gives no error
		if read = append(read, string(k)+"="+string(v)); len(read) > len(leaps) {
			return nil, nil
		}
		return []byte(leaps[len(read)-1]), nil
	})
	return read
}

// What leaps read is noted: what they went over may change, and nothing else.
func TestALeapIsTheSameWhileWhatItReadIs(t *testing.T) {
	someKey := rapid.StringOfN(rapid.SampledFrom([]rune("abc")), 1, 2, -1)
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.MapOfN(someKey, rapid.SampledFrom([]string{"", "1"}), 4, 10).Draw(t, "rows")
		lo, hi := someKey.Draw(t, "lo"), someKey.Draw(t, "hi")
		leaps := rapid.SliceOfN(someKey, 0, 5).Draw(t, "leaps")
		of := &readings{Numbered: changingOf(rows)}
		before := leapt(of, lo, hi, leaps)

		for range rapid.IntRange(0, 3).Draw(t, "changes") {
			if k := someKey.Draw(t, "changed"); rapid.Bool().Draw(t, "gone") {
				delete(rows, k)
			} else {
				rows[k] = "2"
			}
		}
		v := changingOf(rows)
		after := leapt(v, lo, hi, leaps)
		same, err := of.same(v, 0)
		if err != nil {
			t.Fatal(err)
		}
		if equal := slices.Equal(before, after); same && !equal || equal && !same && len(before) <= fewPairs {
			t.Fatalf("from %q to below %q by %q: read %q, and then %q; counts as the same: %v", lo, hi, leaps, before, after, same)
		}
	})
}
