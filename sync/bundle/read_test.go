package bundle_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"oldhand/events"
	"oldhand/sync/bundle"
	"oldhand/sync/seal"
	"oldhand/sync/segment"

	"pgregory.net/rapid"
)

func sameSegments(a, b [][]byte) bool {
	return slices.EqualFunc(a, b, func(a, b []byte) bool { return bytes.Equal(a, b) })
}

func TestABundleGivesTheSegmentsAsTheyWereAdded_P4(t *testing.T) {
	all := pack(t, 1, 6)
	rapid.Check(t, func(rt *rapid.T) {
		p := all
		p.segments = rapid.SliceOfN(rapid.SampledFrom(all.segments), 0, 12).Draw(rt, "segments")
		given, rep, err := p.read(p.bytes(t), keys)
		if err != nil || rep.Err() != nil || !sameSegments(given, p.segments) || rep.Segments != len(given) {
			rt.Fatalf("%d of %d segments, %v, %v", len(given), len(p.segments), err, rep.Err())
		}
	})
}

// A file that was laid out by hand from doc.go reads, and is what is written.
func TestABundleMadeByHandIsTheOneWritten(t *testing.T) {
	p := pack(t, 1, 2)
	written := p.bytes(t)
	hand := fileHead(p.shop.ID)
	heads := written[len(hand)+13:]
	size := binary.BigEndian.Uint32(written[len(hand)+5:])
	hand = append(hand, frame('H', 0, int(size), heads[:size])...)
	for i, s := range p.segments {
		hand = append(hand, frame('S', i+1, len(s), s)...)
	}
	all := sha256.Sum256(hand)
	end := append(binary.BigEndian.AppendUint64(nil, 2), all[:]...)
	hand = append(hand, frame('E', 3, 40, end)...)
	if !bytes.Equal(hand, written) {
		t.Errorf("by hand\n%x, written\n%x", hand, written)
	}
}

// What a bench takes from a bundle goes through the same door as any segment.
func TestSegmentsOfABundleOpen_P10(t *testing.T) {
	p := pack(t, 1, 3)
	at := events.Head{Feed: p.evs[0].Feed}
	rep, err := bundle.Read(bytes.NewReader(p.bytes(t)), p.shop.ID, keys, func(s []byte) error {
		o, err := segment.Open(s, p.shop.ID, keys)
		if err != nil {
			return err
		}
		evs, err := o.Link(at)
		if err == nil {
			at = evs[len(evs)-1].Head()
		}
		return err
	})
	if err != nil || rep.Err() != nil || at != p.evs[8].Head() {
		t.Errorf("came to event %d: %v, %v", at.Seq, err, rep.Err())
	}
}

func TestAnEmptyBundleIsWhole(t *testing.T) {
	p := pack(t, 1, 0)
	given, rep, err := p.read(p.bytes(t), keys)
	if err != nil || rep.Err() != nil || rep.HadErr != nil || len(given) != 0 || len(rep.Had) != 1 {
		t.Errorf("%d segments, %d heads, %v, %v, %v", len(given), len(rep.Had), err, rep.Err(), rep.HadErr)
	}
	p.had = nil
	if _, rep, err := p.read(p.bytes(t), keys); err != nil || rep.Err() != nil || rep.HadErr != nil || len(rep.Had) != 0 {
		t.Errorf("without heads: %v, %v, %v", err, rep.Err(), rep.HadErr)
	}
}

// One subtest for each thing that a file can be instead of a shop's bundle.
func TestAFileThatIsNoBundleOfThisShopGivesNothing_F26(t *testing.T) {
	p := pack(t, 1, 2)
	whole, other := p.bytes(t), pack(t, 9, 2).bytes(t)
	changed := func(at int, c byte) []byte {
		b := bytes.Clone(whole)
		b[at] = c
		return b
	}
	for _, c := range []struct {
		name string
		b    []byte
		want error
	}{
		{"an empty file", nil, bundle.ErrNotBundle},
		{"another file", []byte("PK\x03\x04 and so on, for longer than a head"), bundle.ErrNotBundle},
		{"a short other file", []byte("hum"), bundle.ErrNotBundle},
		{"a segment", p.segments[0], bundle.ErrNotBundle},
		{"version 0", changed(7, 0), bundle.ErrNotBundle},
		{"version 3", changed(7, 3), bundle.ErrNewer},
		{"version 3 and no more", changed(7, 3)[:8], bundle.ErrNewer},
		{"version 2 that was 1", changed(7, 2), bundle.ErrDamaged},
		{"another shop's", other, bundle.ErrOtherShop},
		{"a damaged head", changed(12, whole[12]^1), bundle.ErrDamaged},
		{"a head cut short", whole[:20], bundle.ErrCut},
		{"the magic alone", whole[:7], bundle.ErrCut},
	} {
		t.Run(c.name, func(t *testing.T) {
			given, rep, err := p.read(c.b, keys)
			if !errors.Is(err, c.want) || len(given) != 0 || rep.Segments != 0 || rep.Had != nil {
				t.Errorf("%d segments, %v, want %v", len(given), err, c.want)
			}
			if had, err := bundle.ReadHeads(bytes.NewReader(c.b), p.shop.ID, keys); !errors.Is(err, c.want) || had != nil {
				t.Errorf("%d heads, %v, want %v", len(had), err, c.want)
			}
		})
	}
}

// One subtest for each clause of a frame. The sums hold: these files were made
// on purpose, or by a program that is wrong.
func TestReadingStopsAtAFrameThatCannotBe_P10_P14(t *testing.T) {
	p := pack(t, 1, 2)
	h := p.part(t, 0, 1, list(0))
	heads, first := frame('H', 0, len(h), h), frame('S', 1, 1024, p.segments[0])
	start := slices.Concat(fileHead(p.shop.ID), heads, first)
	end := func(segments uint64, of []byte) []byte {
		all := sha256.Sum256(of)
		return append(binary.BigEndian.AppendUint64(nil, segments), all[:]...)
	}
	badEnd := frame('E', 2, 40, end(1, start))
	badEnd[20] ^= 1
	for _, c := range []struct {
		name string
		rest []byte
		want error
	}{
		{"nothing", nil, bundle.ErrCut},
		{"another number", frame('S', 3, 1024, p.segments[1]), bundle.ErrDamaged},
		{"the same number again", first, bundle.ErrDamaged},
		{"an unknown kind", frame('X', 2, 1024, p.segments[1]), bundle.ErrDamaged},
		{"heads behind a segment", frame('H', 2, len(h), h), bundle.ErrDamaged},
		{"no payload", frame('S', 2, 0, nil), bundle.ErrDamaged},
		{"a payload over the limit", frame('S', 2, seal.MaxSealed+1, make([]byte, seal.MaxSealed+1)), bundle.ErrDamaged},
		{"a length beyond everything", frame('S', 2, 1<<32-1, nil), bundle.ErrDamaged},
		{"a length beyond the file", frame('S', 2, 2048, p.segments[1]), bundle.ErrCut},
		{"an end too short", frame('E', 2, 39, make([]byte, 39)), bundle.ErrDamaged},
		{"an end too long", frame('E', 2, 41, make([]byte, 41)), bundle.ErrDamaged},
		{"an end whose sum is wrong", badEnd, bundle.ErrDamaged},
		{"an end of more segments", frame('E', 2, 40, end(2, start)), bundle.ErrDamaged},
		{"an end of fewer segments", frame('E', 2, 40, end(0, start)), bundle.ErrDamaged},
		{"an end of other bytes", frame('E', 2, 40, end(1, start[1:])), bundle.ErrDamaged},
		{"more behind the end", append(frame('E', 2, 40, end(1, start)), 0), bundle.ErrDamaged},
	} {
		t.Run(c.name, func(t *testing.T) {
			given, rep, err := p.read(append(bytes.Clone(start), c.rest...), keys)
			if err != nil || !errors.Is(rep.Stopped, c.want) || rep.Damaged != 0 {
				t.Errorf("stopped with %v, %v (%d damaged), want %v", rep.Stopped, err, rep.Damaged, c.want)
			}
			if !sameSegments(given, p.segments[:1]) || rep.HadErr != nil {
				t.Errorf("%d segments before it, heads %v", len(given), rep.HadErr)
			}
		})
	}
	t.Run("as it should be", func(t *testing.T) {
		if _, rep, err := p.read(append(start, frame('E', 2, 40, end(1, start))...), keys); err != nil || rep.Err() != nil {
			t.Error(err, rep.Err())
		}
	})
}

// A frame whose bytes are wrong is stepped over where its length holds.
func TestADamagedFrameIsSteppedOverAndCounted_F18(t *testing.T) {
	p := pack(t, 1, 4)
	b := p.bytes(t)
	frames := len(b) - (4*(13+1024+4) + 13 + 40 + 4)
	b[frames+13+100] ^= 1             // in the first segment
	b[frames+2*(13+1024+4)+13+7] ^= 1 // in the third
	given, rep, err := p.read(b, keys)
	if err != nil || rep.Stopped != nil || rep.Damaged != 2 || rep.Segments != 2 {
		t.Errorf("%+v, %v", rep, err)
	}
	if !sameSegments(given, [][]byte{p.segments[1], p.segments[3]}) {
		t.Errorf("%d segments, or others", len(given))
	}
	if err := rep.Err(); !errors.Is(err, bundle.ErrDamaged) || !strings.Contains(err.Error(), "2 of its frames") {
		t.Errorf("says %v", err)
	}
	if len(rep.Had) != 2 || rep.HadErr != nil {
		t.Errorf("%d heads, %v", len(rep.Had), rep.HadErr)
	}
	_, rep, _ = p.read(b[:len(b)-1], keys) // the error is nil as before
	if err := rep.Err(); !errors.Is(err, bundle.ErrDamaged) || !errors.Is(err, bundle.ErrCut) {
		t.Errorf("cut as well, it says %v", err)
	}
}

// What the caller refuses ends reading, and what the medium refuses is told.
func TestErrorsOfTheCallerAndOfTheMediumAreTold_F8(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	full, calls := errors.New("no room"), 0
	rep, err := bundle.Read(bytes.NewReader(b), p.shop.ID, keys, func([]byte) error {
		calls++
		return full
	})
	if err != full || calls != 1 || rep.Stopped != nil {
		t.Errorf("%v after %d calls, stopped %v", err, calls, rep.Stopped)
	}
	pulled := errors.New("no such device")
	cut := len(b) - 1000 // in the third segment
	given := 0
	rep, err = bundle.Read(io.MultiReader(bytes.NewReader(b[:cut]), iotest.ErrReader(pulled)), p.shop.ID, keys, func([]byte) error {
		given++
		return nil
	})
	if err != nil || !errors.Is(rep.Stopped, pulled) || errors.Is(rep.Stopped, bundle.ErrCut) || given != 2 {
		t.Errorf("%v, stopped %v after %d", err, rep.Stopped, given)
	}
	if _, err := bundle.Read(iotest.ErrReader(pulled), p.shop.ID, keys, nil); !errors.Is(err, pulled) {
		t.Errorf("pulled at once: %v", err)
	}
	given = 0
	rep, err = bundle.Read(iotest.OneByteReader(bytes.NewReader(b)), p.shop.ID, keys, func([]byte) error {
		given++
		return nil
	})
	if err != nil || rep.Err() != nil || given != 3 {
		t.Errorf("byte by byte: %v, %v, %d segments", err, rep.Err(), given)
	}
}

func TestNothingOfAnEventStandsInABundleInClear(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	for name, secret := range map[string][]byte{"a text": []byte("hum 2"), "the shop's id": p.shop.ID[:],
		"another feed's name": p.had[1].Feed.Bench[:], "a head's hash": p.evs[8].Hash[:]} {
		if bytes.Contains(b, secret) {
			t.Errorf("%s stands in the bundle", name)
		}
	}
}

// A reader never has more than one segment, whatever the file's size.
func TestReadingABundleTakesLittleMemory_P14(t *testing.T) {
	p := pack(t, 1, 3)
	one := p.segments[0]
	for range 3000 {
		p.segments = append(p.segments, one)
	}
	b := p.bytes(t)
	n := testing.AllocsPerRun(1, func() {
		rep, err := bundle.Read(bytes.NewReader(b), p.shop.ID, nil, func([]byte) error { return nil })
		if err != nil || rep.Err() != nil {
			t.Fatal(err, rep.Err())
		}
	})
	if n > 100 {
		t.Errorf("reading %d segments took memory %v times", len(p.segments), n)
	}
}

func TestAWriterTakesSegmentsOfItsShopOnly_F26(t *testing.T) {
	p, other := pack(t, 1, 1), pack(t, 9, 1)
	var b bytes.Buffer
	w, err := bundle.NewWriter(&b, p.options())
	if err != nil {
		t.Fatal(err)
	}
	newer := bytes.Clone(p.segments[0])
	newer[7] = 2
	for _, c := range []struct {
		b    []byte
		want error
	}{{other.segments[0], bundle.ErrOtherShop}, {[]byte("hum"), segment.ErrMalformed}, {newer, segment.ErrNewer}} {
		if err := w.Add(c.b); !errors.Is(err, c.want) {
			t.Errorf("got %v, want %v", err, c.want)
		}
	}
	if err := errors.Join(p.fill(w), w.Close()); err != nil {
		t.Fatal(err)
	}
	size := b.Len()
	if w.Add(p.segments[0]) == nil || w.Close() == nil || b.Len() != size {
		t.Error("writes on behind the end")
	}
	if given, rep, err := p.read(b.Bytes(), keys); err != nil || rep.Err() != nil || len(given) != 1 {
		t.Errorf("%d segments, %v, %v", len(given), err, rep.Err())
	}
}

func TestAWriterThatCannotWriteSaysSo(t *testing.T) {
	p := pack(t, 1, 3)
	size := len(p.bytes(t))
	for room := 0; room < size; room += 97 {
		w, err := bundle.NewWriter(&narrow{room}, p.options())
		if err == nil {
			err = errors.Join(p.fill(w), w.Close())
		}
		if !errors.Is(err, errNarrow) {
			t.Fatalf("with room for %d of %d bytes: %v", room, size, err)
		}
	}
	o := p.options()
	o.Random = strings.NewReader("")
	if _, err := bundle.NewWriter(io.Discard, o); !errors.Is(err, io.EOF) {
		t.Errorf("without randomness: %v", err)
	}
}

var errNarrow = errors.New("no space left")

type narrow struct{ room int }

func (n *narrow) Write(p []byte) (int, error) {
	if len(p) > n.room {
		return n.room, errNarrow
	}
	n.room -= len(p)
	return len(p), nil
}
