package demo

import (
	"runtime"
	"slices"
	"testing"

	"oldhand/events"
)

// The numbers held here are the package comment's own. There is no outside
// source for them: the shop is invented.

// counted is what a story adds up to.
type counted struct {
	visits, shipped, back int
	units                 map[events.UnitID]*events.Received
	open                  map[events.UnitID]events.Day
	days                  []int
}

func count(t testing.TB, evs []events.Event) *counted {
	t.Helper()
	c := &counted{units: map[events.UnitID]*events.Received{}, open: map[events.UnitID]events.Day{}}
	left := map[events.UnitID]events.Day{}
	for _, e := range evs {
		u := e.Unit()
		switch e.Kind {
		case events.KindReceived:
			c.visits++
			_, b := of[events.Received](t, []events.Event{e})
			if c.units[u] == nil {
				c.units[u] = &b[0]
			}
			if out, ok := left[u]; ok && e.At.Day-out <= 90 {
				c.back++
			}
			c.open[u] = e.At.Day
		case events.KindShipped:
			c.shipped++
			if e.At.Day < c.open[u] {
				t.Fatalf("%s was shipped before it was received", u)
			}
			c.days = append(c.days, int(e.At.Day-c.open[u]))
			delete(c.open, u)
			left[u] = e.At.Day
		}
	}
	slices.Sort(c.days)
	return c
}

func TestSharesAreAsThePackageCommentSays(t *testing.T) {
	all := tell(t, Options{Seed: 5, Units: 10_000})
	c := count(t, all.events)
	within := func(what string, got, lo, hi float64) {
		t.Helper()
		if got < lo || got > hi {
			t.Errorf("%s: %.4g, want %.4g to %.4g", what, got, lo, hi)
		}
	}
	within("units", float64(len(c.units)), 10_000, 10_000)
	within("visits a unit", float64(c.visits)/float64(len(c.units)), 1.2, 1.3)
	within("events a visit", float64(len(all.events))/float64(c.visits), 9, 12)
	within("actions a visit", float64(len(all.actions))/float64(c.visits), 5, 6)
	within("come-backs", float64(c.back)/float64(c.shipped), 0.03, 0.04)
	within("median days", float64(c.days[len(c.days)/2]), 19, 23)
	within("longest tenth", float64(c.days[len(c.days)*9/10]), 45, 75)
}

func TestSomeUnitsStandOnTheBenchesWhenTheStoryEnds(t *testing.T) {
	for seed := range uint64(4) {
		c := count(t, tell(t, Options{Seed: seed}).events)
		if n := len(c.open); n < 10 || n > 25 {
			t.Errorf("seed %d: %d units on the benches", seed, n)
		}
	}
}

func TestEventsLieInTheStoryAndAreWrittenTheSameDayOrTheNext(t *testing.T) {
	aheadOn := events.NewDay(2022, 6, 11) // three years after the afternoon of the sight
	late, ahead, n := 0, 0, 0
	for _, e := range tell(t, Options{Seed: 6}).events {
		n++
		if e.At.Day < firstDay || e.At.Day > lastDay {
			t.Fatalf("an event at %s", e.At)
		}
		switch written := moment(e.ID.Stamp().Ms()).day(); {
		case written == e.At.Day:
		case written == e.At.Day+1:
			late++
		case written == aheadOn && e.At.Day >= events.NewDay(2019, 6, 10):
			ahead++
		default:
			t.Fatalf("an event at %s was written on %s", e.At, written)
		}
	}
	if late == 0 || late > n/10 || ahead == 0 || ahead > n/20 {
		t.Errorf("%d of %d written a day late, %d by the clock that was ahead", late, n, ahead)
	}
}

// A family's fault stands out beside the same model of other years.
func TestFamiliesFailMoreOftenInTheirYears(t *testing.T) {
	all := tell(t, Options{Seed: 7, Units: 10_000})
	units := count(t, all.events).units
	for _, fam := range families {
		f, m := faultNamed(fam.fault), modelNamed(fam.model)
		var sets, hit [2]int // outside the family and in it
		seen := map[events.UnitID]bool{}
		in := func(r *events.Received) int {
			year := 1900 + int(r.Serial[1]-'0')*10 + int(r.Serial[2]-'0')
			if year >= fam.from && year <= fam.to {
				return 1
			}
			return 0
		}
		for _, r := range units {
			if r.Model == m.name && r.Serial != "" {
				sets[in(r)]++
			}
		}
		found, bodies := of[events.FaultFound](t, all.events)
		for i, e := range found {
			r := units[e.Unit()]
			if r.Model == m.name && r.Serial != "" && bodies[i].Component == f.component && bodies[i].Mode == f.mode && !seen[e.Unit()] {
				seen[e.Unit()] = true
				hit[in(r)]++
			}
		}
		if hit[0]*sets[1]*2 > hit[1]*sets[0] {
			t.Errorf("%s %d to %d, %s: %d of %d sets, other years %d of %d", fam.model, fam.from, fam.to, fam.fault, hit[1], sets[1], hit[0], sets[0])
		}
	}
}

func TestSerialsAreOfOneUnitEach(t *testing.T) {
	all := tell(t, Options{Seed: 8, Units: 10_000})
	of := map[string]events.UnitID{}
	for id, r := range count(t, all.events).units {
		if r.Serial == "" {
			continue
		}
		key := events.Key(r.Maker) + events.Key(r.Model) + " " + events.Key(r.Serial)
		if other, twice := of[key]; twice {
			t.Fatalf("%s has two units, %s and %s", key, id, other)
		}
		of[key] = id
	}
}

func TestMemoryHoldsOnlyWhatIsThereOrComesAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("tells half a million events")
	}
	s, err := New(Options{Seed: 1, Units: 50_000})
	if err != nil {
		t.Fatal(err)
	}
	var most uint64
	n := 0
	for _, err := range s.Actions() {
		if err != nil {
			t.Fatal(err)
		}
		if n++; n%50_000 == 0 {
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapAlloc)
		}
	}
	t.Logf("%d KiB at most", most>>10)
	if most > 10<<20 {
		t.Errorf("%d MiB held", most>>20)
	}
}
