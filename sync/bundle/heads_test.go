package bundle_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/sync/bundle"
	"oldhand/sync/seal"
	"oldhand/sync/segment"

	"github.com/google/go-cmp/cmp"
)

func byFeed(a, b bundle.Had) int { return a.Feed.Compare(b.Feed) }

func TestABundleSaysHowFarItsWriterHadEachFeed_P9(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	want := slices.SortedFunc(slices.Values(p.had), byFeed)
	_, rep, err := p.read(b, keys)
	if err != nil || rep.HadErr != nil {
		t.Fatal(err, rep.HadErr)
	}
	if d := cmp.Diff(want, rep.Had); d != "" {
		t.Errorf("heads (-want +got):\n%s", d)
	}
	alone, err := bundle.ReadHeads(bytes.NewReader(b), p.shop.ID, keys)
	if d := cmp.Diff(want, alone); d != "" || err != nil {
		t.Errorf("read alone: %v (-want +got):\n%s", err, d)
	}
	// They stand before the segments, so a cut there takes nothing of them.
	cut := p.edges(b)[0]
	if had, err := bundle.ReadHeads(bytes.NewReader(b[:cut]), p.shop.ID, keys); err != nil || len(had) != 2 {
		t.Errorf("cut behind the list: %d heads, %v", len(had), err)
	}
	if had, err := bundle.ReadHeads(bytes.NewReader(b[:cut-1]), p.shop.ID, keys); !errors.Is(err, bundle.ErrDamaged) || len(had) != 0 {
		t.Errorf("cut in the list: %d heads, %v", len(had), err)
	}
	proven := 0
	for _, h := range rep.Had {
		if s, ok := h.Signed(); ok {
			proven++
			if s.Head != p.evs[8].Head() || s.Verify(p.shop.ID) != nil {
				t.Errorf("signed head %v", s.Head)
			}
		}
	}
	if proven != 1 {
		t.Errorf("%d signed heads, want 1", proven)
	}
}

func TestTheListOfHeadsIsPassedOverWithoutKeys(t *testing.T) {
	p := pack(t, 1, 3)
	b := p.bytes(t)
	given, rep, err := p.read(b, nil)
	if err != nil || rep.Err() != nil || rep.Had != nil || rep.HadErr != nil || len(given) != 3 {
		t.Errorf("%d segments, %d heads, %v, %v", len(given), len(rep.Had), rep.Err(), rep.HadErr)
	}
	given, rep, err = p.read(b, func(uint32) (segment.Key, bool) { return segment.Key{}, false })
	if err != nil || rep.Err() != nil || rep.Had != nil || !errors.Is(rep.HadErr, segment.ErrNoKey) || len(given) != 3 {
		t.Errorf("without the epoch's: %d segments, %v, %v", len(given), rep.Err(), rep.HadErr)
	}
	_, rep, _ = p.read(b, func(uint32) (segment.Key, bool) { return segment.Key{1}, true })
	if rep.Had != nil || !errors.Is(rep.HadErr, seal.ErrSeal) {
		t.Errorf("with another: %v", rep.HadErr)
	}
}

// manyHeads are heads of n feeds that nobody signed.
func manyHeads(n int) (had []bundle.Had) {
	for i := range n {
		h := bundle.Had{Head: events.Head{Seq: uint64(i + 1), Hash: events.Hash{1}}}
		binary.BigEndian.PutUint32(h.Feed.Incarnation[:], uint32(n-i)) // from the last to the first
		had = append(had, h)
	}
	return had
}

func TestALongListOfHeadsComesInParts(t *testing.T) {
	for _, n := range []int{bundle.HeadsAPart, bundle.HeadsAPart + 1, 2*bundle.HeadsAPart + 5} {
		p := pack(t, 1, 1)
		p.had = manyHeads(n)
		_, rep, err := p.read(p.bytes(t), keys)
		if err != nil || rep.Err() != nil || rep.HadErr != nil {
			t.Fatal(err, rep.Err(), rep.HadErr)
		}
		if d := cmp.Diff(slices.SortedFunc(slices.Values(p.had), byFeed), rep.Had); d != "" {
			t.Errorf("%d heads (-want +got):\n%s", n, d)
		}
	}
	p := pack(t, 1, 1)
	p.had = manyHeads(bundle.HeadsAPart*bundle.MaxParts + 1)
	if _, err := bundle.NewWriter(&bytes.Buffer{}, p.options()); !errors.Is(err, seal.ErrTooLarge) {
		t.Errorf("more than there may be: %v, want ErrTooLarge", err)
	}
}

// A part that is damaged takes only its own heads with it, and it is said.
func TestADamagedPartOfTheListLeavesTheOthers_F18(t *testing.T) {
	p := pack(t, 1, 1)
	p.had = manyHeads(2*bundle.HeadsAPart + 5)
	b := p.bytes(t)
	b[28+13+200] ^= 1
	given, rep, err := p.read(b, keys)
	if err != nil || rep.Stopped != nil || rep.Damaged != 1 || len(given) != 1 {
		t.Errorf("%v, %+v", err, rep.Err())
	}
	if len(rep.Had) != bundle.HeadsAPart+5 || !errors.Is(rep.HadErr, bundle.ErrDamaged) {
		t.Errorf("%d heads, %v", len(rep.Had), rep.HadErr)
	}
	had, err := bundle.ReadHeads(bytes.NewReader(b), p.shop.ID, keys)
	if len(had) != len(rep.Had) || !errors.Is(err, bundle.ErrDamaged) {
		t.Errorf("read alone: %d heads, %v", len(had), err)
	}
}

// One subtest for each clause of a part and of a head in it. The seals hold.
func TestAListOfHeadsThatCannotBeIsRefused_P10_F25(t *testing.T) {
	p := pack(t, 1, 1)
	had := slices.SortedFunc(slices.Values(p.had), byFeed)
	forged, nothing, hashless := had[0], had[0], had[0]
	if _, ok := forged.Signed(); !ok {
		forged = had[1]
	}
	forged.Seq++
	nothing.Seq, hashless.Hash = 0, events.Hash{}
	nothing.Signature, hashless.Signature = [64]byte{}, [64]byte{}
	good := list(2, had...)
	marked := list(1, hashless)
	marked[4+32+16+8] = 1 // a hash
	marked[len(marked)-1] = 2
	zeros := append(list(1, nothing), make([]byte, 64)...)
	zeros[4+32+16+7], zeros[len(zeros)-65] = 1, 1
	cut := list(1, forged)
	otherTag := bytes.Clone(p.part(t, 0, 1, good))
	otherTag[9] ^= 1
	newer := bytes.Clone(p.part(t, 0, 1, good))
	newer[7] = 2
	noMagic := bytes.Clone(p.part(t, 0, 1, good))
	noMagic[0] = 'x'
	for _, c := range []struct {
		name string
		part []byte
		want error
	}{
		{"no number", p.part(t, 0, 1, []byte{0, 0, 0}), bundle.ErrDamaged},
		{"fewer than it says", p.part(t, 0, 1, list(3, had...)), bundle.ErrDamaged},
		{"more than it says", p.part(t, 0, 1, list(1, had...)), bundle.ErrDamaged},
		{"a number over the limit", p.part(t, 0, 1, list(1<<31, had...)), seal.ErrTooLarge},
		{"a signature cut short", p.part(t, 0, 1, cut[:len(cut)-1]), bundle.ErrDamaged},
		{"a mark that is none", p.part(t, 0, 1, marked), bundle.ErrDamaged},
		{"a signature of zeros", p.part(t, 0, 1, zeros), bundle.ErrDamaged},
		{"a head of no event", p.part(t, 0, 1, list(1, nothing)), bundle.ErrDamaged},
		{"a head without a hash", p.part(t, 0, 1, list(1, hashless)), bundle.ErrDamaged},
		{"a feed twice", p.part(t, 0, 1, list(2, had[0], had[0])), bundle.ErrDamaged},
		{"feeds out of order", p.part(t, 0, 1, list(2, had[1], had[0])), bundle.ErrDamaged},
		{"a head nobody signed as it is", p.part(t, 0, 1, list(1, forged)), events.ErrSignature},
		{"no parts", p.part(t, 0, 0, good), bundle.ErrDamaged},
		{"a part beyond the parts", p.part(t, 1, 1, good), bundle.ErrDamaged},
		{"parts over the limit", p.part(t, 0, bundle.MaxParts+1, good), bundle.ErrDamaged},
		{"a part of two", p.part(t, 0, 2, good), bundle.ErrDamaged},
		{"another shop's", otherTag, bundle.ErrOtherShop},
		{"a newer version", newer, bundle.ErrNewer},
		{"another magic", noMagic, bundle.ErrDamaged},
		{"a segment", p.segments[0], bundle.ErrDamaged},
		{"something short", []byte("oldhhds\x01"), bundle.ErrDamaged},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := append(fileHead(p.shop.ID), frame('H', 0, len(c.part), c.part)...)
			b = append(b, frame('S', 1, 1024, p.segments[0])...)
			given, rep, err := p.read(b, keys)
			if !errors.Is(rep.HadErr, c.want) || c.name != "a part of two" && rep.Had != nil {
				t.Errorf("%d heads, %v, want %v", len(rep.Had), rep.HadErr, c.want)
			}
			if err != nil || len(given) != 1 {
				t.Errorf("the segment behind it: %d, %v", len(given), err)
			}
		})
	}
}

// One subtest for each clause that a second part is held to by the first.
func TestPartsOfAListBelongTogether_P10(t *testing.T) {
	p := pack(t, 1, 1)
	had := slices.SortedFunc(slices.Values(p.had), byFeed)
	for _, c := range []struct {
		name   string
		second []byte
		want   error
		heads  int
	}{
		{"in order", p.part(t, 1, 2, list(1, had[1])), nil, 2},
		{"the same part again", p.part(t, 0, 2, list(1, had[1])), bundle.ErrDamaged, 1},
		{"of another number of parts", p.part(t, 1, 3, list(1, had[1])), bundle.ErrDamaged, 1},
		{"the same feed again", p.part(t, 1, 2, list(1, had[0])), bundle.ErrDamaged, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			first := p.part(t, 0, 2, list(1, had[0]))
			b := append(fileHead(p.shop.ID), frame('H', 0, len(first), first)...)
			b = append(b, frame('H', 1, len(c.second), c.second)...)
			b = append(b, frame('S', 2, 1024, p.segments[0])...)
			_, rep, err := p.read(b, keys)
			if err != nil || !errors.Is(rep.HadErr, c.want) || len(rep.Had) != c.heads {
				t.Errorf("%d heads, %v, %v", len(rep.Had), rep.HadErr, err)
			}
		})
	}
}

func TestAWriterRefusesHeadsThatAReaderWould(t *testing.T) {
	p := pack(t, 1, 1)
	forged := p.had[0]
	forged.Hash[0] ^= 1
	for name, c := range map[string]struct {
		had  []bundle.Had
		want error
	}{
		"a feed twice":          {[]bundle.Had{p.had[0], p.had[0]}, bundle.ErrDamaged},
		"a head of no event":    {[]bundle.Had{{Head: events.Head{Feed: p.had[0].Feed, Hash: events.Hash{1}}}}, bundle.ErrDamaged},
		"a head without a hash": {[]bundle.Had{{Head: events.Head{Feed: p.had[0].Feed, Seq: 1}}}, bundle.ErrDamaged},
		"a forged head":         {[]bundle.Had{forged}, events.ErrSignature},
	} {
		o := p.options()
		o.Had = c.had
		if _, err := bundle.NewWriter(&bytes.Buffer{}, o); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", name, err, c.want)
		}
	}
}
