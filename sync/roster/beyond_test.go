package roster_test

import (
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"

	"github.com/google/go-cmp/cmp"
)

// What one book has and another lacks is given in the order of the events it came by,
// whatever order they came in: that the other takes it gives both one roster. What no
// owner signed is not passed on.
func TestWhatOwnersSaidBeyondAnotherBookComesInOrder_P4_P12(t *testing.T) {
	bodies := []events.Body{founding, attic.admission("attic", 1), counter.admission("counter", 2), cellar.admission("cellar", 3),
		must(stranger.Admit(shop, idOf(stranger), "stranger", 4)), must(founder.NameOwner(shop, idOf(drawer), "drawer"))}
	evs := feedOf(attic, 1, 1000, bodies...)
	want := []events.Body{bodies[2], bodies[3], bodies[5]}
	for turn := range len(evs) {
		whole, part := roster.NewBook(shop), roster.NewBook(shop)
		whole.Add(evs[turn:]...)
		whole.Add(evs[:turn]...)
		part.Add(evs[:3]...)
		if d := cmp.Diff(want, whole.Beyond(part)); d != "" {
			t.Fatalf("from event %d on (-want +got):\n%s", turn+1, d)
		}
		if said := part.Beyond(whole); len(said) != 0 {
			t.Errorf("from event %d on the part has %d more", turn+1, len(said))
		}
		part.AddBodies(whole.Beyond(part)...)
		if d := withoutCarriers(roster.Of(shop, append([]events.Body{founding, bodies[1]}, want...)...), part.Roster()); d != "" {
			t.Errorf("from event %d on (-want +part):\n%s", turn+1, d)
		}
	}
}

// Without a key nobody lets a bench count, and it is said which.
func TestLettingABenchCountTakesAKey(t *testing.T) {
	list, err := roster.LetCount(events.BenchKey{}, shop, attic.id, []events.Head{attic.head(1, 4, 0xb)}, "by mistake")
	if err == nil || list != nil || !strings.Contains(err.Error(), attic.id.String()) {
		t.Errorf("gives %d statements and %v", len(list), err)
	}
}
