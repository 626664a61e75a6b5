package keyring_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/keyring"
	"oldhand/sync/seal"
)

func TestASealedKeyOpensAsWhatItWas(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for name, e := range map[string]events.KeyEntry{"a key": theirs, "an order": gone} {
		b := sealed(t, shop, e)
		if got, err := keyring.Open(b, shop, person, keys); err != nil || got != e {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
		if p, err := keyring.ReadPlace(b); err != nil || p.Person != person || p.Epoch != epoch {
			t.Errorf("%s: %+v, %v", name, p, err)
		}
		if len(b) != 1024 || bytes.Contains(b, e.Key[:8]) && e.Key != (events.PersonKey{}) {
			t.Errorf("%s: %d bytes", name, len(b))
		}
	}
}

// Owners who had not met may have set two keys for one epoch.
func TestAnyKeyOfTheEpochOpens(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	two := func(uint32) []seal.Key { return []seal.Key{{1}, key} }
	if got, err := keyring.Open(sealed(t, shop, theirs), shop, person, two); err != nil || got != theirs {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestSealRefusesWhatSaysNothing(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for name, e := range map[string]events.KeyEntry{
		"of nobody":             {Key: theirs.Key},
		"neither key nor order": {Person: person},
		"nothing of anybody":    {},
		"an order about nobody": {Order: gone.Order},
	} {
		if _, err := keyring.Seal(shop, epoch, key, e, eventstest.Seeded(1)); !errors.Is(err, keyring.ErrMalformed) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestOpenRefusesWhatIsNotTheShopsAndThePersons_P10_F26_F27(t *testing.T) {
	shop, other := eventstest.FoundShop(t, goldenSeed).ID, eventstest.FoundShop(t, 2).ID
	b := sealed(t, shop, theirs)
	changed := func(at int, to byte) []byte {
		c := bytes.Clone(b)
		c[at] = to
		return c
	}
	none := func(uint32) []seal.Key { return nil }
	wrong := func(uint32) []seal.Key { return []seal.Key{{1}} }
	for _, c := range []struct {
		name   string
		bytes  []byte
		shop   events.ShopID
		person events.PersonID
		keys   keyring.Keys
		want   error
	}{
		{"another shop", b, other, person, keys, keyring.ErrOtherShop},
		{"another person", b, shop, events.PersonID{9}, keys, keyring.ErrOtherPerson},
		{"moved to another person", changed(24, 9), shop, events.PersonID{9, 15: 0x22}, keys, keyring.ErrSeal},
		{"a newer version", changed(7, 2), shop, person, keys, keyring.ErrNewer},
		{"a newer version of another size", append(changed(7, 2), make([]byte, 1024)...), shop, person, keys, keyring.ErrNewer},
		{"version 0", changed(7, 0), shop, person, keys, keyring.ErrMalformed},
		{"an unknown epoch", b, shop, person, none, keyring.ErrNoKey},
		{"the epoch changed", changed(43, 4), shop, person, keys, keyring.ErrNoKey},
		{"another key", b, shop, person, wrong, keyring.ErrSeal},
		{"nothing", nil, shop, person, keys, keyring.ErrMalformed},
		{"another magic", changed(0, 'O'), shop, person, keys, keyring.ErrMalformed},
		{"a byte more", append(bytes.Clone(b), 0), shop, person, keys, keyring.ErrMalformed},
		{"over the limit", make([]byte, keyring.MaxSize+1), shop, person, keys, keyring.ErrTooLarge},
	} {
		t.Run(c.name, func(t *testing.T) {
			if e, err := keyring.Open(c.bytes, c.shop, c.person, c.keys); !errors.Is(err, c.want) || !e.IsNothing() {
				t.Errorf("%+v, %v; want %v", e, err, c.want)
			}
		})
	}
}

// Whoever has the shop's key can put anything under a right seal.
func TestOpenRefusesContentThatIsNoEntry_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for name, plain := range map[string][]byte{
		"a length alone":       {32},
		"a key cut short":      append([]byte{32}, theirs.Key[:31]...),
		"a key and more":       append(append([]byte{32}, theirs.Key[:]...), 0),
		"a key of zeros":       append([]byte{32}, make([]byte, 32)...),
		"no key and no order":  {0},
		"an order of zeros":    append([]byte{0}, make([]byte, 64)...),
		"an order cut short":   append([]byte{0}, gone.Order[:63]...),
		"another length":       append([]byte{31}, theirs.Key[:]...),
		"a key with an order":  append(append([]byte{32}, theirs.Key[:]...), gone.Order[:]...),
		"an order as if a key": append([]byte{32}, gone.Order[:]...),
	} {
		if e, err := keyring.Open(byHand(t, shop, plain), shop, person, keys); !errors.Is(err, keyring.ErrMalformed) || !e.IsNothing() {
			t.Errorf("%s: %+v, %v", name, e, err)
		}
	}
	if e, err := keyring.Open(byHand(t, shop, append([]byte{32}, theirs.Key[:]...)), shop, person, keys); err != nil || e != theirs {
		t.Errorf("as it must be: %+v, %v", e, err)
	}
}

func TestEveryCutAndEveryBitFlipIsRefused_P10_F18(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	for _, e := range []events.KeyEntry{theirs, gone} {
		b := sealed(t, shop, e)
		for n := range b {
			if got, err := keyring.Open(b[:n], shop, person, keys); !isKnown(err) || !got.IsNothing() {
				t.Fatalf("cut after %d bytes: %+v, %v", n, got, err)
			}
		}
		for bit := range len(b) * 8 {
			b[bit/8] ^= 1 << (bit % 8)
			if got, err := keyring.Open(b, shop, person, keys); !isKnown(err) || !got.IsNothing() {
				t.Fatalf("bit %d: %+v, %v", bit, got, err)
			}
			b[bit/8] ^= 1 << (bit % 8)
		}
	}
}

// No bytes from outside stop the program, and what opens was sealed with the
// key: one of the seeds (P10, F18).
func FuzzOpen(f *testing.F) {
	shop := eventstest.FoundShop(f, goldenSeed).ID
	kept := map[string]bool{}
	for _, e := range []events.KeyEntry{theirs, gone} {
		b := sealed(f, shop, e)
		kept[string(b)] = true
		f.Add(b)
		f.Add(b[:100])
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := keyring.Open(b, shop, person, keys)
		if err == nil && (!kept[string(b)] || e.IsNothing()) {
			t.Fatalf("opened %+v, which nobody sealed", e)
		}
		if err != nil && !isKnown(err) {
			t.Fatalf("an error of no kind: %v", err)
		}
	})
}

// Under a right seal anything may stand; what opens has one form (F25).
func FuzzOpenPlain(f *testing.F) {
	shop := eventstest.FoundShop(f, goldenSeed).ID
	f.Add(append([]byte{32}, theirs.Key[:]...))
	f.Add(append([]byte{0}, gone.Order[:]...))
	f.Fuzz(func(t *testing.T, plain []byte) {
		if len(plain) == 0 || len(plain) > 700 {
			return
		}
		b := byHand(t, shop, plain)
		e, err := keyring.Open(b, shop, person, keys)
		if err != nil {
			if !isKnown(err) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		again := append([]byte{32}, e.Key[:]...)
		if e.Forgotten() {
			again = append([]byte{0}, e.Order[:]...)
		}
		if !bytes.Equal(again, plain) {
			t.Fatalf("%x opened as %+v", plain, e)
		}
	})
}
