package events

import (
	"bytes"
	"crypto/ecdh"
	"crypto/hpke"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/binary"
	"fmt"
	"slices"

	"filippo.io/edwards25519"
	"github.com/nats-io/nkeys"
)

// What leaves a bench is sealed with a secret that the shop's benches share. A
// secret belongs to an epoch; a bench's retirement is a reason to begin the
// next. It travels as an event, wrapped for each bench by itself, so that
// whoever carries the event learns nothing.
//
// A wrapped key is HPKE (RFC 9180, base mode): DHKEM(X25519, HKDF-SHA256),
// HKDF-SHA256, ChaCha20-Poly1305. First the encapsulated key (32 bytes), then
// the sealed secret (32) with its tag (16). Info is the statement
//
//	"oldhand shop key wrapped 1", shop, epoch (4 bytes, big endian), bench
//
// so that a wrapping moved to another shop, epoch or bench does not open. It
// is part of the format for ever.
//
// The recipient's X25519 key is the bench's Ed25519 key in its other form (RFC
// 7748 section 4.1 has the map between the curves, RFC 8032 section 5.1.5 the
// private scalar), so a bench keeps one secret and not two.

// ShopKey is the secret the shop's benches share in one epoch.
type ShopKey [32]byte

// KeyID names a shop key and commits to it: the start of a hash of the key
// with its shop and epoch. A key is random, so its name does not give it away.
type KeyID [16]byte

// MaxEpoch is the last epoch: one a day lasts for two thousand years.
const MaxEpoch = 1_000_000

const wrappedSize = 32 + 32 + 16

// ShopKeySet gives a shop key to benches. An owner signs its Statement.
// Several sets may carry the same key to different readers.
type ShopKeySet struct {
	Epoch     uint32       `cbor:"1,keyasint"` // from 1
	Key       KeyID        `cbor:"2,keyasint"`
	Readers   []WrappedKey `cbor:"3,keyasint"` // by bench, rising
	Signature []byte       `cbor:"4,keyasint"`
}

// WrappedKey is a shop key that one bench can open.
type WrappedKey struct {
	Bench   BenchID `cbor:"1,keyasint"`
	Wrapped []byte  `cbor:"2,keyasint"`
}

// Kind is KindShopKeySet.
func (ShopKeySet) Kind() Kind { return KindShopKeySet }

// Statement is what an owner signs.
func (b ShopKeySet) Statement(shop ShopID) []byte {
	parts := [][]byte{shop[:], binary.BigEndian.AppendUint32(nil, b.Epoch), b.Key[:]}
	for i := range b.Readers {
		parts = append(parts, b.Readers[i].Bench[:], b.Readers[i].Wrapped)
	}
	return statement("oldhand shop key set 1", parts...)
}

// Validate wants an epoch, a key's name, and each reader once, in order.
func (b ShopKeySet) Validate() error {
	err := firstOf(clause(b.Epoch >= 1 && b.Epoch <= MaxEpoch, "shop key: epoch %d, from 1 to %d", b.Epoch, MaxEpoch),
		clause(b.Key != KeyID{}, "shop key: no name"), clause(len(b.Readers) > 0, "shop key: nobody reads it"),
		list("shop key: readers", len(b.Readers)),
		clause(len(b.Signature) == signatureSize, "shop key: signature of %d bytes", len(b.Signature)))
	var last BenchID
	for _, r := range b.Readers {
		err = firstOf(err, clause(bytes.Compare(last[:], r.Bench[:]) < 0, "shop key: readers not in rising order"),
			clause(len(r.Wrapped) == wrappedSize, "shop key: wrapped in %d bytes, want %d", len(r.Wrapped), wrappedSize))
		last = r.Bench
	}
	return err
}

// Line is the event's line in a history.
func (b ShopKeySet) Line() string {
	return fmt.Sprintf("shop key %d given to %s", b.Epoch, Count(len(b.Readers), "bench", "benches"))
}

// UnmarshalCBOR reads a byte string of 16.
func (k *KeyID) UnmarshalCBOR(b []byte) error { return exactly(k[:], b) }

func (k KeyID) String() string { return base32Low.EncodeToString(k[:]) }

// ID is the key's name in its shop and epoch.
func (s ShopKey) ID(shop ShopID, epoch uint32) (id KeyID) {
	h := sha256.Sum256(statement("oldhand shop key id 1", shop[:], binary.BigEndian.AppendUint32(nil, epoch), s[:]))
	copy(id[:], h[:])
	return id
}

// String hides the secret from messages.
func (ShopKey) String() string { return "shop key" }

func wrapInfo(shop ShopID, epoch uint32, bench BenchID) []byte {
	return statement("oldhand shop key wrapped 1", shop[:], binary.BigEndian.AppendUint32(nil, epoch), bench[:])
}

// WrapKey wraps a shop key of an epoch for one bench.
func WrapKey(shop ShopID, epoch uint32, bench BenchID, key ShopKey) (WrappedKey, error) {
	pub, err := bench.exchangeKey()
	if err != nil {
		return WrappedKey{}, fmt.Errorf("wrap shop key %d for bench %s: %w", epoch, bench, err)
	}
	b, err := hpke.Seal(pub, hpke.HKDFSHA256(), hpke.ChaCha20Poly1305(), wrapInfo(shop, epoch, bench), key[:])
	if err != nil {
		return WrappedKey{}, fmt.Errorf("wrap shop key %d for bench %s: %w", epoch, bench, err)
	}
	return WrappedKey{bench, b}, nil
}

// UnwrapKey opens a shop key that was wrapped for this bench. It gives
// ErrWrapped where the bytes are of another shop, epoch or bench, or changed.
func (k BenchKey) UnwrapKey(shop ShopID, epoch uint32, w WrappedKey) (key ShopKey, err error) {
	own, err := k.Public()
	if err != nil {
		return key, err
	}
	priv, err := k.exchangeKey()
	if err != nil {
		return key, fmt.Errorf("unwrap shop key %d: %w", epoch, err)
	}
	plain, err := hpke.Open(priv, hpke.HKDFSHA256(), hpke.ChaCha20Poly1305(), wrapInfo(shop, epoch, own), w.Wrapped)
	if err != nil || len(plain) != len(key) || w.Bench != own {
		return key, fmt.Errorf("unwrap shop key %d for bench %s: %w", epoch, own, ErrWrapped)
	}
	copy(key[:], plain)
	return key, nil
}

// exchangeKey is the bench's key on the curve on which keys are agreed.
func (id BenchID) exchangeKey() (hpke.PublicKey, error) {
	p, err := new(edwards25519.Point).SetBytes(id[:])
	if err != nil {
		return nil, fmt.Errorf("no point of the curve: %w", err)
	}
	pub, err := ecdh.X25519().NewPublicKey(p.BytesMontgomery())
	if err != nil {
		return nil, err
	}
	return hpke.NewDHKEMPublicKey(pub)
}

// exchangeKey is the private half: X25519 clamps the scalar as Ed25519 does.
func (k BenchKey) exchangeKey() (hpke.PrivateKey, error) {
	text, err := k.Seed()
	if err != nil {
		return nil, err
	}
	_, seed, err := nkeys.DecodeSeed(text)
	if err != nil {
		return nil, err
	}
	h := sha512.Sum512(seed)
	priv, err := ecdh.X25519().NewPrivateKey(h[:32])
	if err != nil {
		return nil, err
	}
	return hpke.NewDHKEMPrivateKey(priv)
}

// SetKey makes the event that gives a shop key of an epoch to benches, signed
// by an owner. Readers may stand in any order and more than once.
func (k BenchKey) SetKey(shop ShopID, epoch uint32, key ShopKey, readers ...BenchID) (b ShopKeySet, err error) {
	b = ShopKeySet{Epoch: epoch, Key: key.ID(shop, epoch)}
	for _, r := range readersInOrder(readers) {
		w, err := WrapKey(shop, epoch, r, key)
		if err != nil {
			return ShopKeySet{}, err
		}
		b.Readers = append(b.Readers, w)
	}
	b.Signature, err = k.sign(b.Statement(shop))
	return b, err
}

func readersInOrder(readers []BenchID) []BenchID {
	list := slices.Clone(readers)
	slices.SortFunc(list, func(a, b BenchID) int { return bytes.Compare(a[:], b[:]) })
	return slices.Compact(list)
}
