package segment_test

import (
	"bytes"
	"path/filepath"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"
)

// No bytes from outside may stop the program, and what opens is sealed by
// somebody with the key, so it is one of the seeds (P10, F18).
func FuzzOpen(f *testing.F) {
	shop := eventstest.FoundShop(f, goldenSeed).ID
	seeds := map[string]bool{}
	paths, err := filepath.Glob(filepath.Join(keptRoot, "*.hex"))
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range paths {
		b := keptSegment(f, path)
		seeds[string(b)] = true
		f.Add(b)
		f.Add(b[:len(b)/2])
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		before := bytes.Clone(b)
		o, err := segment.Open(b, shop, keys)
		if err == nil && !seeds[string(b)] {
			t.Fatalf("opened %v, which nobody sealed", o.Place)
		}
		if err != nil && !isKnown(err) {
			t.Fatalf("an error of no kind: %v", err)
		}
		if p, err := segment.ReadPlace(b); err == nil && (p.First == 0 || p.Len() < 1 || p.Len() > segment.MaxEvents) {
			t.Fatalf("a place that can't be: %v", p)
		} else if err != nil && !isKnown(err) {
			t.Fatalf("an error of no kind: %v", err)
		}
		if !bytes.Equal(b, before) {
			t.Fatal("opening changed the bytes")
		}
	})
}

// Whoever has the shop's key can put any bytes under a right seal. What opens
// is nevertheless a chain that its bench signed: the seeds' own events (F25).
func FuzzOpenPlain(f *testing.F) {
	l := begin(f, eventstest.FoundShop(f, goldenSeed), 1).notes(f, "hum", 3)
	shop := l.bench.Shop.ID
	for first := 1; first <= 4; first++ {
		for last := first; last <= 4; last++ {
			f.Add(uint64(first), uint64(last), plainByHand(l.at(first-1).Hash, l.signed(f, last), l.records(first, last)...))
		}
	}
	f.Fuzz(func(t *testing.T, first, last uint64, plain []byte) {
		if len(plain) == 0 || len(plain) > 400<<10 {
			return
		}
		p := l.place(1, 1)
		p.First, p.Last = first, last
		o, err := segment.Open(sealByHand(t, key, shop, p, plain), shop, keys)
		if err != nil {
			if !isKnown(err) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		if first < 1 || last > 4 || o.Head != l.signed(t, int(last)) {
			t.Fatalf("opened %v, which the bench never signed", o.Place)
		}
		evs, err := o.Link(events.Head{Feed: l.feed, Seq: first - 1, Hash: o.Prev})
		if err != nil || len(evs) != o.Len() || evs[len(evs)-1].Hash != l.at(int(last)).Hash {
			t.Fatalf("opened %v with %d events: %v", o.Place, len(evs), err)
		}
	})
}
