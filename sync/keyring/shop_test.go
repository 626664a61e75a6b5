package keyring_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/keyring"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

const (
	epoch      = 3
	goldenSeed = 1 // founds the shop of the kept keys
)

var (
	key    = seal.Key{4, 5, 6, 31: 7}
	person = events.PersonID{0x21, 15: 0x22}
	theirs = events.KeyEntry{Person: person, Key: events.PersonKey{0x31, 31: 0x32}}
	gone   = events.KeyEntry{Person: person, Order: events.ForgetOrder{0x41, 63: 0x42}}
)

// keys knows the key of one epoch.
func keys(e uint32) []seal.Key {
	if e != epoch {
		return nil
	}
	return []seal.Key{key}
}

func sealed(t testing.TB, shop events.ShopID, e events.KeyEntry) []byte {
	t.Helper()
	b, err := keyring.Seal(shop, epoch, key, e, eventstest.Seeded(8))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// byHand seals any bytes as the content of a person's key.
func byHand(t testing.TB, shop events.ShopID, plain []byte) []byte {
	t.Helper()
	tag := segment.TagOf(shop)
	clear := bytes.Join([][]byte{[]byte("oldhkey\x01"), tag[:], person[:], {0, 0, 0, epoch}}, nil)
	b, err := seal.Seal(key, clear, shop[:], plain, eventstest.Seeded(9))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func isKnown(err error) bool {
	for _, k := range []error{keyring.ErrMalformed, keyring.ErrTooLarge, keyring.ErrNewer, keyring.ErrOtherShop, keyring.ErrOtherPerson, keyring.ErrNoKey, keyring.ErrSeal} {
		if errors.Is(err, k) {
			return true
		}
	}
	return false
}
