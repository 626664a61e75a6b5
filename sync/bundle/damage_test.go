package bundle_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/sync/bundle"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

// edges are where the frames of a bundle end, as the sizes of its parts say.
func (p parcel) edges(b []byte) (ends []int) {
	at := len(b) - (13 + 40 + 4)
	for i := len(p.segments) - 1; i >= 0; i-- {
		ends = append([]int{at}, ends...)
		at -= 13 + len(p.segments[i]) + 4
	}
	return append([]int{at}, ends...) // of the list of heads, then of each segment
}

// Cut anywhere, a bundle gives exactly the segments that stand wholly before
// the cut, and says that it was cut.
func TestEveryCutGivesWhatStandsBeforeIt_P10_F18(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	ends := p.edges(b)
	for n := range b {
		given, rep, err := p.read(b[:n], keys)
		want := 0
		for _, end := range ends[1:] {
			if end <= n {
				want++
			}
		}
		if !sameSegments(given, p.segments[:want]) || rep.Segments != want || rep.Damaged != 0 {
			t.Fatalf("cut after %d of %d bytes: %d segments, want %d", n, len(b), len(given), want)
		}
		switch {
		case n == 0:
			if !errors.Is(err, bundle.ErrNotBundle) {
				t.Fatalf("cut after 0 bytes: %v", err)
			}
		case n < 28:
			if !errors.Is(err, bundle.ErrCut) {
				t.Fatalf("cut after %d bytes: %v", n, err)
			}
		case err != nil || !errors.Is(rep.Stopped, bundle.ErrCut):
			t.Fatalf("cut after %d bytes: %v, stopped %v", n, err, rep.Stopped)
		}
		if listed := n >= ends[0]; listed != (len(rep.Had) == 2) || n >= 28 && listed != (rep.HadErr == nil) {
			t.Fatalf("cut after %d bytes: %d heads, %v", n, len(rep.Had), rep.HadErr)
		}
	}
}

// With any one bit wrong, what is given is what was added, in order, and of
// the damaged segment nothing; and the bundle never passes for whole.
func TestEverySingleBitFlipIsFound_P10_F18(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	ends := p.edges(b)
	for bit := range len(b) * 8 {
		at := bit / 8
		b[at] ^= 1 << (bit % 8)
		open := bundle.Keys(keys)
		if at >= ends[0] {
			open = nil // the list of heads is whole: it is read in the other test
		}
		given, rep, err := p.read(b, open)
		b[at] ^= 1 << (bit % 8)
		want, whole := p.survivors(at, ends, len(b))
		if !sameSegments(given, want) {
			t.Fatalf("bit %d of byte %d: %d segments, want %d", bit%8, at, len(given), len(want))
		}
		if err == nil && rep.Err() == nil {
			t.Fatalf("bit %d of byte %d: passes for whole", bit%8, at)
		}
		if known := errors.Join(err, rep.Err()); !isKnown(known) {
			t.Fatalf("bit %d of byte %d: an error of no kind: %v", bit%8, at, known)
		}
		if whole && (err != nil || rep.Stopped != nil || rep.Damaged != 1) {
			t.Fatalf("bit %d of byte %d, in a payload: %v, stopped %v, %d damaged", bit%8, at, err, rep.Stopped, rep.Damaged)
		}
	}
}

// survivors are the segments that a flip in a byte leaves to be given, and
// whether it can be stepped over.
func (p parcel) survivors(at int, ends []int, size int) (want [][]byte, over bool) {
	start := 28
	if at < start {
		return nil, false // the file's head
	}
	for i, end := range ends {
		if at < end {
			before := p.segments[:max(0, i-1)]
			if at < start+13 {
				return before, false // the frame's own head
			}
			return append(append([][]byte{}, before...), p.segments[i:]...), true
		}
		start = end
	}
	return p.segments, false // the end
}

func isKnown(err error) bool {
	for _, k := range []error{bundle.ErrNotBundle, bundle.ErrNewer, bundle.ErrOtherShop, bundle.ErrCut, bundle.ErrDamaged} {
		if errors.Is(err, k) {
			return true
		}
	}
	return false
}

// Bytes that are lost or come in shift all that follows: reading stops there.
func TestBytesLostOrGainedEndReading_F18(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	ends := p.edges(b)
	middle := ends[1] + 500 // in the second segment
	for name, bad := range map[string][]byte{
		"a byte lost":     append(bytes.Clone(b[:middle]), b[middle+1:]...),
		"a byte gained":   append(append(bytes.Clone(b[:middle]), 7), b[middle:]...),
		"a segment lost":  append(bytes.Clone(b[:ends[1]]), b[ends[2]:]...),
		"a segment twice": append(bytes.Clone(b[:ends[2]]), b[ends[1]:]...),
	} {
		given, rep, err := p.read(bad, nil)
		n := 1
		if name == "a segment twice" {
			n = 2
		}
		if err != nil || !errors.Is(rep.Stopped, bundle.ErrDamaged) || !sameSegments(given, p.segments[:n]) {
			t.Errorf("%s: %d segments, %v, stopped %v", name, len(given), err, rep.Stopped)
		}
	}
}

// patched writes bytes over those of base at a place and cuts the rest off.
func patched(base, with []byte, at, rest int) []byte {
	at = min(at, len(base))
	b := append(bytes.Clone(base[:at]), with...)
	if end := at + len(with); end < len(base) {
		b = append(b, base[end:min(len(base), end+rest)]...)
	}
	return b
}

// No file may stop the program, take much memory, or be taken for whole unless
// it ends as a whole one does. Sums can be made by anybody, so what is given
// need not be what was added: the seals tell.
func FuzzRead(f *testing.F) {
	p := pack(f, goldenSeed, 2)
	whole := p.bytes(f)
	f.Add(uint16(0), uint16(9999), whole[:28])
	f.Add(uint16(28), uint16(9999), []byte("S"))
	f.Add(uint16(0), uint16(0), []byte("oldhbun\x02"))
	f.Add(uint16(1200), uint16(9999), frame('S', 1, 1<<32-1, nil))
	f.Add(uint16(28), uint16(0), frame('E', 0, 40, make([]byte, 40)))
	f.Add(uint16(41), uint16(9999), []byte("oldhhds\x02"))
	f.Fuzz(func(t *testing.T, at, rest uint16, with []byte) {
		b := patched(whole, with, int(at), int(rest))
		given, rep, err := p.read(b, keys)
		if err == nil && rep.Err() == nil && !bytes.Equal(b, whole) && rep.Segments == 2 {
			t.Fatal("another file passes for this one")
		}
		if e := errors.Join(err, rep.Err()); e != nil && !isKnown(e) {
			t.Fatalf("an error of no kind: %v", e)
		}
		if len(given) != rep.Segments {
			t.Fatalf("gave %d segments, says %d", len(given), rep.Segments)
		}
		for _, s := range given {
			if len(s) == 0 || len(s) > seal.MaxSealed {
				t.Fatalf("gave a segment of %d bytes", len(s))
			}
			if _, err := segment.Open(s, p.shop.ID, keys); err == nil && !bytes.Equal(s, p.segments[0]) && !bytes.Equal(s, p.segments[1]) {
				t.Fatal("gave a segment that opens and was not added")
			}
		}
	})
}
