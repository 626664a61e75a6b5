package projections_test

import (
	"bytes"
	"maps"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/projections"

	"pgregory.net/rapid"
)

// Orders to forget a customer are found again in any order and grouping of
// events, once each however often they were written, and whoever signed them.
func TestP5_P15_OrdersToForgetAreFoundAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		want := map[string]bool{}
		for range rapid.IntRange(1, 20).Draw(t, "events") {
			d := events.Draft{At: events.OnDay(20_000), About: [16]byte{15: byte(rapid.IntRange(1, 3).Draw(t, "person"))}}
			sig := bytes.Repeat([]byte{byte(rapid.IntRange(1, 3).Draw(t, "signed"))}, 64)
			if rapid.Bool().Draw(t, "recorded") {
				d.Body = events.PersonRecorded{Sealed: bytes.Repeat([]byte{sig[0]}, 60)}
			} else {
				d.Body = events.PersonForgotten{Signature: sig}
				want[string(d.About[:])+string(sig)] = true
			}
			w.event(rapid.IntRange(0, w.benches-1).Draw(t, "bench"), d)
		}
		m := newMemory()
		left := rapid.Permutation(w.all).Draw(t, "order")
		for len(left) > 0 {
			n := rapid.IntRange(1, min(4, len(left))).Draw(t, "group")
			if err := m.add(left[:n]...); err != nil {
				t.Fatal(err)
			}
			left = left[n:]
		}
		sameViews(t, "order", rebuilt(t, w.all), m.views)
		got := map[string]bool{}
		err := projections.EachOrder(m, func(p events.PersonID, o events.ForgetOrder) (bool, error) {
			got[string(p[:])+string(o[:])] = true
			return true, nil
		})
		if err != nil || !maps.Equal(got, want) {
			t.Fatalf("orders %q (%v), want %q", slices.Sorted(maps.Keys(got)), err, slices.Sorted(maps.Keys(want)))
		}
	})
}
