package replicate

import (
	"fmt"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"

	"pgregory.net/rapid"
)

// plainPlan is what a core must plan, found without the lines: by looking at all
// that is due, in order.
func plainPlan(c *Core, now int64) (effects []Effect, wake int64) {
	var owed []eventlog.Reach
	for b := range c.due {
		owed = append(owed, c.here[b])
	}
	slices.SortFunc(owed, eventlog.Reach.Compare)
	var held []eventlog.Reach
	busy := map[events.FeedID]bool{}
	for f := range c.flight {
		busy[f] = true
	}
	for _, r := range owed {
		f := r.Feed
		if !c.met || busy[f] || c.stuck[r.Branch] != "" || c.await[f] > c.read || f.Bench != c.bench && !c.level {
			continue
		}
		if c.hold[r.Branch] > now {
			held = append(held, r)
			continue
		}
		if len(busy) < mostInFlight {
			busy[f] = true
			effects = append(effects, c.next(r))
		}
	}
	for _, r := range held { // of a feed that is on its way the answer wakes
		if until := c.hold[r.Branch]; !busy[r.Feed] && (wake == 0 || until < wake) {
			wake = until
		}
	}
	return effects, wake
}

// planned checks what a step gave beside what the twin gives, that had the same
// input and has not planned yet.
func planned(t *rapid.T, twin *Core, now int64, got []Effect) {
	want, wake := plainPlan(twin, now)
	if n := len(twin.flight) + len(want); wake > 0 && n < mostInFlight {
		want = append(want, Wake{wake})
	}
	if !slices.Equal(got, want) {
		t.Fatalf("gives %v, and by all that is due it is %v", got, want)
	}
}

// More feeds than go at once all go, a few at a time.
func TestAllFeedsAreGivenAFewAtOnce_P14(t *testing.T) { giveAll(t, 20*mostInFlight) }

// A bench that fills an empty exchange: what one message of it costs the core must
// not grow with the feeds.
func BenchmarkGiving(b *testing.B) {
	for _, feeds := range []int{1825, 18_250} {
		b.Run(fmt.Sprintf("feeds=%d", feeds), func(b *testing.B) {
			for b.Loop() {
				giveAll(b, feeds)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*feeds), "ns/message")
		})
	}
}

func giveAll(t testing.TB, feeds int) {
	t.Helper()
	c := NewCore(events.BenchID{1})
	var grew Grew
	for i := range feeds {
		f := events.FeedID{Bench: events.BenchID{1}, Incarnation: events.Incarnation{byte(i), byte(i >> 8)}}
		grew.Branches = append(grew.Branches, plainReach(eventlog.First(f), 7))
	}
	c.Step(grew, 1, 0)
	todo := c.Step(Met{Epoch: "e"}, 1, 0)
	todo = append(todo, c.Step(Level{}, 1, 0)...)
	for n := uint64(1); len(todo) > 0; n++ {
		if len(todo) > mostInFlight {
			t.Fatalf("%d feeds are on their way at once", len(todo))
		}
		switch e := todo[0].(type) {
		case Post:
			todo = append(todo[1:], c.Step(Posted{e.Branch, n, 1, plainHead(e.Branch, 7)}, 1, 0)...)
		case Ask:
			todo = append(todo[1:], c.Step(Found{Feed: e.Feed}, 1, 0)...)
		}
	}
	if !c.IsLevel() {
		t.Fatalf("%d of %d feeds were not given", len(c.due), feeds)
	}
}
