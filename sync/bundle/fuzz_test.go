package bundle_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/bundle"
	"oldhand/sync/chunk"
	"oldhand/sync/seal"
)

// No file of photos may stop the program or be taken for whole unless it is; what it
// gives is no longer than a chunk, and opens only where it was put in (P10, F18).
func FuzzReadPhotos(f *testing.F) {
	shop := eventstest.FoundShop(f, goldenSeed).ID
	chunks := sealedChunks(f, shop, 3)
	whole := photosFile(f, shop, chunks)
	f.Add(uint16(0), uint16(9999), whole[:28])
	f.Add(uint16(0), uint16(0), []byte("oldhpho\x02"))
	f.Add(uint16(28), uint16(9999), []byte("S"))
	f.Add(uint16(28), uint16(0), frame('E', 0, 40, make([]byte, 40)))
	f.Add(uint16(1200), uint16(9999), frame('C', 1, 1<<32-1, nil))
	f.Fuzz(func(t *testing.T, at, rest uint16, with []byte) {
		b := patched(whole, with, int(at), int(rest))
		given, rep, err := readPhotos(b, shop)
		if err == nil && rep.Err() == nil && rep.Chunks == 3 && !bytes.Equal(b, whole) {
			t.Fatal("another file passes for this one")
		}
		if e := errors.Join(err, rep.Err()); e != nil && !isKnown(e) {
			t.Fatalf("an error of no kind: %v", e)
		}
		if len(given) != rep.Chunks {
			t.Fatalf("gave %d chunks, says %d", len(given), rep.Chunks)
		}
		for _, c := range given {
			if len(c) == 0 || len(c) > chunk.MaxSealed {
				t.Fatalf("gave a chunk of %d bytes", len(c))
			}
			for n := range uint32(3) {
				_, err := chunk.Open(c, shop, events.Hash{0x88}, n, func(e uint32) []seal.Key { return []seal.Key{seal.Key(key)} })
				if err == nil && !bytes.Equal(c, chunks[n]) {
					t.Fatal("gave a chunk that opens and was not added")
				}
			}
		}
	})
}

// Whoever has the shop's key can seal any bytes as a part of a list of heads. What is
// read of it rises by feed, each signature in it is of its feed's bench, and the
// bundle's segments come all the same (F25).
func FuzzHeadsPlain(f *testing.F) {
	p := pack(f, goldenSeed, 1)
	for _, had := range [][]bundle.Had{nil, p.had[:1], p.had[1:], sortedHad(p.had), {p.had[0], p.had[0]}} {
		f.Add(list(len(had), had...))
	}
	f.Add(list(1<<31, p.had...))
	f.Add(list(1, p.had[0])[:100])
	f.Fuzz(func(t *testing.T, plain []byte) {
		if len(plain) == 0 || len(plain) > 4096 {
			return
		}
		part := p.part(t, 0, 1, plain)
		file := append(fileHead(p.shop.ID), frame('H', 0, len(part), part)...)
		file = append(file, frame('S', 1, len(p.segments[0]), p.segments[0])...)
		given, rep, err := p.read(file, keys)
		if err != nil || !sameSegments(given, p.segments) {
			t.Fatalf("beside such a list %d segments come: %v", len(given), err)
		}
		if rep.HadErr != nil {
			if !isKnown(rep.HadErr) && !errors.Is(rep.HadErr, seal.ErrTooLarge) && !errors.Is(rep.HadErr, events.ErrSignature) {
				t.Fatalf("an error of no kind: %v", rep.HadErr)
			}
			return
		}
		for i, h := range rep.Had {
			if s, ok := h.Signed(); ok && s.Verify(p.shop.ID) != nil {
				t.Fatalf("head %d of %s is not its bench's", h.Seq, h.Feed.Short())
			}
			if i > 0 && rep.Had[i-1].Feed.Compare(h.Feed) >= 0 {
				t.Fatalf("feed %s comes after %s", h.Feed.Short(), rep.Had[i-1].Feed.Short())
			}
		}
		if again := list(len(rep.Had), rep.Had...); !bytes.Equal(again, plain) {
			t.Fatalf("%x is read as %x", plain, again)
		}
	})
}

// sortedHad are heads in the order of their feeds.
func sortedHad(had []bundle.Had) []bundle.Had { return slices.SortedFunc(slices.Values(had), byFeed) }
