package segment_test

import (
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"
)

// visits are the first 500 events of a log of small visits. They resemble one
// another more than those of a real shop, so they pack better.
func visits(b *testing.B) ([]events.Event, *eventstest.Bench, events.SignedHead) {
	b.Helper()
	l, bench, _ := eventstest.OnMem(b, 1)
	for range 60 {
		eventstest.SaveNotes(b, l, eventstest.SaveVisit(b, l), "measured again after an hour", 3)
	}
	evs := eventstest.All(b, l)[:500]
	head, err := bench.Key.SignHead(bench.Shop.ID, evs[499].Head())
	if err != nil {
		b.Fatal(err)
	}
	return evs, bench, head
}

func report(b *testing.B, evs []events.Event, sealed []byte) {
	b.ReportMetric(float64(len(evs)*b.N)/b.Elapsed().Seconds(), "events/s")
	b.ReportMetric(float64(len(sealed))/float64(recordBytes(evs)-4*len(evs)), "sealed/records")
	b.ReportMetric(float64(len(sealed))/float64(len(evs)), "B/event")
}

func BenchmarkSeal500(b *testing.B) {
	evs, bench, head := visits(b)
	random := eventstest.Seeded(1)
	var sealed []byte
	b.ReportAllocs()
	for b.Loop() {
		var err error
		if sealed, err = segment.Seal(bench.Shop.ID, epoch, key, evs, head, random); err != nil {
			b.Fatal(err)
		}
	}
	report(b, evs, sealed)
}

func BenchmarkOpen500(b *testing.B) {
	evs, bench, head := visits(b)
	sealed, err := segment.Seal(bench.Shop.ID, epoch, key, evs, head, eventstest.Seeded(1))
	if err != nil {
		b.Fatal(err)
	}
	at := events.Head{Feed: evs[0].Feed}
	b.ReportAllocs()
	for b.Loop() {
		o, err := segment.Open(sealed, bench.Shop.ID, keys)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := o.Link(at); err != nil {
			b.Fatal(err)
		}
	}
	report(b, evs, sealed)
}
