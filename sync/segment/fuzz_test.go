package segment_test

import (
	"bytes"
	"path/filepath"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"
)

// patched writes bytes over those of base at a place and cuts the rest off.
// The fuzzer varies a few bytes instead of a thousand, so it does not spend its
// time on making them fewer. With both numbers 0 it gives the bytes alone.
func patched(base, with []byte, at, rest int) []byte {
	at = min(at, len(base))
	b := append(bytes.Clone(base[:at]), with...)
	if end := at + len(with); end < len(base) {
		b = append(b, base[end:min(len(base), end+rest)]...)
	}
	return b
}

// No bytes from outside may stop the program, and what opens is sealed by
// somebody with the key, so it is one of those that are kept (P10, F18).
func FuzzOpen(f *testing.F) {
	shop := eventstest.FoundShop(f, goldenSeed).ID
	var kept [][]byte
	paths, err := filepath.Glob(filepath.Join(keptRoot, "*.hex"))
	if err != nil || len(paths) == 0 {
		f.Fatalf("%d kept segments, %v", len(paths), err)
	}
	for i, path := range paths {
		kept = append(kept, eventstest.KeptBytes(f, path))
		f.Add(uint8(i), uint16(0), uint16(1024), kept[i][:segment.HeaderSize])
		f.Add(uint8(i), uint16(500), uint16(1024), []byte{1, 2})
		f.Add(uint8(i), uint16(0), uint16(0), kept[i][:8])
	}
	f.Fuzz(func(t *testing.T, which uint8, at, rest uint16, with []byte) {
		base := kept[int(which)%len(kept)]
		b := patched(base, with, int(at), int(rest))
		before := bytes.Clone(b)
		o, err := segment.Open(b, shop, keys)
		if err == nil && !bytes.Equal(b, base) {
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
			f.Add(uint64(first), uint64(last), uint16(0), uint16(1024), []byte{})
			f.Add(uint64(first), uint64(last), uint16(128), uint16(1024), []byte{0, 0, 0, 1})
		}
	}
	all := plainByHand(events.Hash{}, l.signed(f, 4), l.records(1, 4)...)
	f.Fuzz(func(t *testing.T, first, last uint64, at, rest uint16, with []byte) {
		base := all
		if first >= 1 && first <= last && last <= 4 {
			base = plainByHand(l.at(int(first)-1).Hash, l.signed(t, int(last)), l.records(int(first), int(last))...)
		}
		plain := patched(base, with, int(at), int(rest))
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
