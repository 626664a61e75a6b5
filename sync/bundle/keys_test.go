package bundle_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/bundle"
	"oldhand/sync/keyring"
	"oldhand/sync/seal"
)

// keyFrameSize is a key's frame: its head, a sealed key and its sum.
const keyFrameSize = 13 + 1024 + 4

func entry(n byte) events.KeyEntry {
	return events.KeyEntry{Person: events.PersonID{n, 15: 1}, Key: events.PersonKey{n, 31: 1}}
}

func sealedKey(t testing.TB, shop events.ShopID, e events.KeyEntry) []byte {
	t.Helper()
	b, err := keyring.Seal(shop, epoch, key, e, eventstest.Seeded(uint64(e.Person[0])))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func openKey(sealed []byte, shop events.ShopID) (events.KeyEntry, error) {
	p, err := keyring.ReadPlace(sealed)
	if err != nil {
		return events.KeyEntry{}, err
	}
	return keyring.Open(sealed, shop, p.Person, func(e uint32) []seal.Key {
		k, ok := keys(e)
		if !ok {
			return nil
		}
		return []seal.Key{k}
	})
}

// withKeys puts the keys of customers into a parcel.
func (p parcel) withKeys(t testing.TB, n int) parcel {
	t.Helper()
	for i := range n {
		p.keys = append(p.keys, sealedKey(t, p.shop.ID, entry(byte(i+1))))
	}
	return p
}

// readAll reads a bundle and keeps what it gives.
func (p parcel) readAll(b []byte) (segments, given [][]byte, rep bundle.Report, err error) {
	rep, err = bundle.ReadWithKeys(bytes.NewReader(b), p.shop.ID, keys, func(s []byte) error {
		segments = append(segments, bytes.Clone(s))
		return nil
	}, func(k []byte) error {
		given = append(given, bytes.Clone(k))
		return nil
	})
	return segments, given, rep, err
}

func TestKeysComeBehindTheSegmentsAndOpen(t *testing.T) {
	p := pack(t, 1, 2).withKeys(t, 3)
	segments, given, rep, err := p.readAll(p.bytes(t))
	if err != nil || rep.Err() != nil || rep.HadErr != nil || rep.Segments != 2 || rep.Keys != 3 {
		t.Fatalf("%+v, %v", rep, err)
	}
	if !sameSegments(segments, p.segments) || !sameSegments(given, p.keys) {
		t.Error("what was given is not what was added")
	}
	for i, k := range given {
		if e, err := openKey(k, p.shop.ID); err != nil || e != entry(byte(i+1)) {
			t.Errorf("key %d: %+v, %v", i, e, err)
		}
	}
	// Who asks for none passes them over.
	if _, rep, err := p.read(p.bytes(t), keys); err != nil || rep.Err() != nil || rep.Segments != 2 {
		t.Errorf("without keys: %+v, %v", rep, err)
	}
}

// A bundle without keys is of the version that every program reads; one with
// keys says that it is newer.
func TestOnlyABundleWithKeysIsOfTheNewerVersion_F27(t *testing.T) {
	if b := pack(t, 1, 1).bytes(t); b[7] != 1 {
		t.Errorf("without keys: version %d", b[7])
	}
	if b := pack(t, 1, 1).withKeys(t, 1).bytes(t); b[7] != 2 {
		t.Errorf("with keys: version %d", b[7])
	}
}

// Cut anywhere, a bundle gives exactly the keys that stand wholly before the cut.
func TestEveryCutGivesTheKeysBeforeIt_P10_F18(t *testing.T) {
	p := pack(t, 1, 1).withKeys(t, 3)
	b := p.bytes(t)
	first := len(b) - (13 + 40 + 4) - 3*keyFrameSize
	for n := first; n < len(b); n++ {
		_, given, rep, err := p.readAll(b[:n])
		want := min(3, (n-first)/keyFrameSize)
		if err != nil || !sameSegments(given, p.keys[:want]) || rep.Keys != want || !errors.Is(rep.Stopped, bundle.ErrCut) {
			t.Fatalf("cut after %d of %d bytes: %d keys, want %d (%v, %v)", n, len(b), len(given), want, err, rep.Stopped)
		}
	}
}

// With any one bit of a key wrong, that one is not given, the others are, and the
// bundle does not pass for whole.
func TestEveryBitFlipInAKeyIsFound_P10_F18(t *testing.T) {
	p := pack(t, 1, 1).withKeys(t, 3)
	b := p.bytes(t)
	second := len(b) - (13 + 40 + 4) - 2*keyFrameSize
	for bit := second * 8; bit < (second+keyFrameSize)*8; bit++ {
		b[bit/8] ^= 1 << (bit % 8)
		_, given, rep, err := p.readAll(b)
		b[bit/8] ^= 1 << (bit % 8)
		want := [][]byte{p.keys[0], p.keys[2]}
		if bit/8 < second+13 {
			want = want[:1] // its frame's head: nothing behind is believed
		}
		if err != nil || !sameSegments(given, want) || rep.Err() == nil || rep.Segments != 1 {
			t.Fatalf("bit %d of byte %d: %d keys, want %d (%v, %+v)", bit%8, bit/8, len(given), len(want), err, rep)
		}
	}
}

func TestKeysStandOnlyWhereTheyMay_P10(t *testing.T) {
	p := pack(t, 1, 1)
	k := sealedKey(t, p.shop.ID, entry(1))
	other := sealedKey(t, eventstest.FoundShop(t, 2).ID, entry(1))
	o := p.options()
	w, err := bundle.NewWriter(new(bytes.Buffer), o)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.AddKey(k); err == nil {
		t.Error("a key in a bundle without any")
	}
	o.Keys = true
	if w, err = bundle.NewWriter(new(bytes.Buffer), o); err != nil {
		t.Fatal(err)
	}
	if err := w.AddKey(other); !errors.Is(err, bundle.ErrOtherShop) {
		t.Errorf("another shop's key: %v", err)
	}
	if err := w.AddKey(p.segments[0]); !errors.Is(err, keyring.ErrMalformed) {
		t.Errorf("a segment as a key: %v", err)
	}
	if err := errors.Join(w.Add(p.segments[0]), w.AddKey(k)); err != nil {
		t.Fatal(err)
	}
	if err := w.Add(p.segments[0]); err == nil {
		t.Error("a segment behind a key")
	}
}

// What no writer makes, a reader refuses.
func TestAReaderRefusesKeysInWrongPlaces_P10(t *testing.T) {
	p := pack(t, 1, 1).withKeys(t, 1)
	one, two := fileHead(p.shop.ID), bytes.Clone(fileHead(p.shop.ID))
	two[7] = 2
	two = append(two[:24], sum(two[:24])...)
	heads := frame('H', 0, len(p.part(t, 0, 1, list(0))), p.part(t, 0, 1, list(0)))
	key := func(number int) []byte { return frame('K', number, len(p.keys[0]), p.keys[0]) }
	segment := func(number int) []byte { return frame('S', number, len(p.segments[0]), p.segments[0]) }
	for name, c := range map[string]struct {
		bytes []byte
		keys  int
	}{
		"keys in version 1":    {bytes.Join([][]byte{one, heads, key(1)}, nil), 0},
		"segments behind keys": {bytes.Join([][]byte{two, heads, key(1), segment(2)}, nil), 1},
		"heads behind keys":    {bytes.Join([][]byte{two, key(0), heads}, nil), 1},
		"a key over the limit": {bytes.Join([][]byte{two, heads, frame('K', 1, keyring.MaxSize+1, make([]byte, keyring.MaxSize+1))}, nil), 0},
	} {
		_, given, rep, err := p.readAll(c.bytes)
		if err != nil || !errors.Is(rep.Stopped, bundle.ErrDamaged) || len(given) != c.keys || rep.Segments != 0 {
			t.Errorf("%s: %d keys, %+v, %v", name, len(given), rep, err)
		}
	}
}
