package roster_test

import (
	"fmt"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"
)

// A segment of a bench's daily work has nothing about the roster.
func BenchmarkASegmentWithNothingForTheRoster(b *testing.B) {
	book := roster.NewBook(shop)
	book.Add(feedOf(attic, 1, 1000, founding, attic.admission("attic", 1))...)
	var bodies []events.Body
	for i := range 499 {
		bodies = append(bodies, events.TermAdded{Table: "work", ID: fmt.Sprintf("w%d", i), Name: "w"})
	}
	segment := feedOf(attic, 2, 2000, bodies...)
	b.ResetTimer()
	for b.Loop() {
		book.Add(segment...)
		if !book.Roster().Counts(segment[499].Head()).Counts() {
			b.Fatal("does not count")
		}
	}
}

// A shop of many years, read anew: 100 benches, each admitted and half of them
// retired, and a key set for each epoch between.
func BenchmarkFoldOfAShopOfManyYears(b *testing.B) {
	bodies := []events.Body{founding}
	for i := range uint32(100) {
		of := benchOf(byte(100 + i))
		bodies = append(bodies, of.admission(fmt.Sprint(i), i+1), must(founder.SetKey(shop, i+1, secret, of.id, attic.id)))
		if i%2 == 0 {
			bodies = append(bodies, must(founder.Retire(shop, of.id, []events.Head{of.head(1, 9, 0)}, "")))
		}
	}
	set := feedOf(attic, 1, 1000, bodies...)
	b.ResetTimer()
	for b.Loop() {
		if n := len(roster.Fold(shop, set).Benches()); n != 100 {
			b.Fatal(n)
		}
	}
}
