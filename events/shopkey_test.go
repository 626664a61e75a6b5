package events_test

import (
	"bytes"
	"crypto/ecdh"
	"crypto/hpke"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"testing"

	"oldhand/events"

	"filippo.io/edwards25519"
	"pgregory.net/rapid"
)

func TestAWrappedKeyOpensForItsBenchOnly(t *testing.T) {
	w := must(events.WrapKey(shop, 3, feed.Bench, shopKey))
	if got, err := bench.UnwrapKey(shop, 3, w); err != nil || got != shopKey {
		t.Fatalf("opened %x, %v", got, err)
	}
	otherShop := shop
	otherShop[15] ^= 1
	renamed, changed, cut := w, w, w
	renamed.Bench = must(otherBench.Public())
	changed.Wrapped = bytes.Clone(w.Wrapped)
	changed.Wrapped[79] ^= 1
	cut.Wrapped = w.Wrapped[:31]
	for name, open := range map[string]func() (events.ShopKey, error){
		"another bench":          func() (events.ShopKey, error) { return otherBench.UnwrapKey(shop, 3, w) },
		"another bench, renamed": func() (events.ShopKey, error) { return otherBench.UnwrapKey(shop, 3, renamed) },
		"renamed":                func() (events.ShopKey, error) { return bench.UnwrapKey(shop, 3, renamed) },
		"another epoch":          func() (events.ShopKey, error) { return bench.UnwrapKey(shop, 4, w) },
		"another shop":           func() (events.ShopKey, error) { return bench.UnwrapKey(otherShop, 3, w) },
		"a changed byte":         func() (events.ShopKey, error) { return bench.UnwrapKey(shop, 3, changed) },
		"cut short":              func() (events.ShopKey, error) { return bench.UnwrapKey(shop, 3, cut) },
		"nothing":                func() (events.ShopKey, error) { return bench.UnwrapKey(shop, 3, events.WrappedKey{Bench: feed.Bench}) },
	} {
		if got, err := open(); !errors.Is(err, events.ErrWrapped) || got != (events.ShopKey{}) {
			t.Errorf("%s: got %x, %v, want ErrWrapped", name, got[:4], err)
		}
	}
	if _, err := (events.BenchKey{}).UnwrapKey(shop, 3, w); err == nil {
		t.Error("opened with no key")
	}
}

// These bytes were wrapped once and must open for ever: a segment sealed years
// ago is read with a key that was wrapped then.
func TestAKeyWrappedLongAgoStillOpens(t *testing.T) {
	for _, epoch := range []uint32{1, 7} {
		w := keptKeySet(epoch).Readers[0]
		if got, err := bench.UnwrapKey(shop, epoch, w); err != nil || got != shopKey {
			t.Errorf("epoch %d: opened %x, %v", epoch, got, err)
		}
	}
}

// What is wrapped twice differs, or whoever sees both knows that a key went on.
func TestTwoWrappingsOfOneKeyDiffer(t *testing.T) {
	a, b := must(events.WrapKey(shop, 1, feed.Bench, shopKey)), must(events.WrapKey(shop, 1, feed.Bench, shopKey))
	if bytes.Equal(a.Wrapped, b.Wrapped) || bytes.Equal(a.Wrapped[:32], b.Wrapped[:32]) {
		t.Error("two wrappings are one")
	}
}

// The map between the curves, beside Go's own X25519: the public half on one
// curve, mapped, is the public half of the private scalar on the other (RFC
// 7748 section 4.1, RFC 8032 section 5.1.5).
func TestABenchsKeyIsOneKeyOnBothCurves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := [32]byte(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "seed"))
		id := must(must(events.BenchKeyOf(seed)).Public())
		h := sha512.Sum512(seed[:])
		scalar := must(ecdh.X25519().NewPrivateKey(h[:32]))
		mapped := must(new(edwards25519.Point).SetBytes(id[:])).BytesMontgomery()
		if !bytes.Equal(scalar.PublicKey().Bytes(), mapped) {
			t.Fatalf("%x is %x on the other curve, its scalar gives %x", id, mapped, scalar.PublicKey().Bytes())
		}
		key := events.ShopKey(seed)
		w := must(events.WrapKey(shop, 1, id, key))
		if got, err := must(events.BenchKeyOf(seed)).UnwrapKey(shop, 1, w); err != nil || got != key {
			t.Fatalf("opened %x, %v", got, err)
		}
	})
}

// The pair of keys that libsodium's test of its conversion prints
// (test/default/ed25519_convert.c and .exp). What is wrapped for the bench of
// that seed opens with the X25519 secret printed there, past our own code.
func TestWhatIsWrappedOpensWithThePublishedKeyOfTheOtherCurve(t *testing.T) {
	seed := [32]byte(unhex(t, "421151a459faeade3d247115f94aedae42318124095afabe4d1451a559faedee"))
	scalar := must(ecdh.X25519().NewPrivateKey(unhex(t, "8052030376d47112be7f73ed7a019293dd12ad910b654455798b4667d73de166")))
	if got := hex.EncodeToString(scalar.PublicKey().Bytes()); got != "f1814f0e8ff1043d8a44d25babff3cedcae6c22c3edaa48f857ae70de2baae50" {
		t.Fatalf("public half %s", got)
	}
	id := must(must(events.BenchKeyOf(seed)).Public())
	w := must(events.WrapKey(shop, 258, id, shopKey))
	info := statementByHand("oldhand shop key wrapped 1", shop[:], []byte{0, 0, 1, 2}, id[:])
	plain, err := hpke.Open(must(hpke.NewDHKEMPrivateKey(scalar)), hpke.HKDFSHA256(), hpke.ChaCha20Poly1305(), info, w.Wrapped)
	if err != nil || !bytes.Equal(plain, shopKey[:]) {
		t.Errorf("opened %x, %v", plain, err)
	}
}

// A bench id that is no key can't be wrapped for: the neutral point has no
// secret, and 0xff... is no point at all.
func TestNothingIsWrappedForWhatIsNoKey(t *testing.T) {
	for name, id := range map[string]events.BenchID{"neutral point": {1}, "no point": {2}} {
		if w, err := events.WrapKey(shop, 1, id, shopKey); err == nil {
			t.Errorf("%s: wrapped %x", name, w.Wrapped)
		}
	}
}

func TestAKeySetIsStatedAndNamedAsLaidOutByHand(t *testing.T) {
	b := keptKeySet(7)
	seven := []byte{0, 0, 0, 7}
	sum := sha256.Sum256(statementByHand("oldhand shop key id 1", shop[:], seven, shopKey[:]))
	if want := events.KeyID(sum[:16]); b.Key != want || shopKey.ID(shop, 7) != want {
		t.Errorf("key %s, by hand %s", b.Key, want)
	}
	w := b.Readers[0]
	want := statementByHand("oldhand shop key set 1", shop[:], seven, b.Key[:], w.Bench[:], w.Wrapped)
	if got := b.Statement(shop); !bytes.Equal(got, want) || !bytes.Equal(b.Signature, signed(0x01, want)) {
		t.Errorf("statement %x, by hand %x", got, want)
	}
}

func TestReadersOfAKeyAreOrderedAndNamedOnce(t *testing.T) {
	other := must(otherBench.Public())
	b := must(owner.SetKey(shop, 1, shopKey, feed.Bench, other, feed.Bench))
	if err := b.Validate(); err != nil || len(b.Readers) != 2 {
		t.Fatalf("%d readers, %v", len(b.Readers), err)
	}
	if !bytes.Equal(b.Signature, signed(0x01, b.Statement(shop))) {
		t.Error("signature is not the owner's over the statement")
	}
	if _, err := owner.SetKey(shop, 1, shopKey, events.BenchID{2}); err == nil {
		t.Error("gave a key to what is none")
	}
	if _, err := (events.BenchKey{}).SetKey(shop, 1, shopKey, feed.Bench); err == nil {
		t.Error("signed without a key")
	}
}

func TestASecretIsNotPrinted(t *testing.T) {
	if s := shopKey.String(); s != "shop key" {
		t.Errorf("printed %q", s)
	}
}

// The wrapped bytes of the examples: wrapping draws a key of its own each
// time, so they were drawn once.
var keptWrappings = map[uint32]string{
	1: "b7846bf179b3186133f693f4fe428e2905d2ca3af220eda4f1afbe9ab42661183cf89cd90ec8477a" +
		"d8767a6b188fcb13b826d9fae772ff02debabe022afff733ae5e6e2c772f56abd97d10c0ddcbc735",
	7: "4dde7aac47c864d3222a9e57f900c30d27d3bed0f1a2c682231046c092edee4bbe0e42e19a8b2a3c" +
		"e12c66463bf21fd45e9236a13b2262beea39f887785b4d8da223de45b245cbac830a2450749ce00f",
}

func keptKeySet(epoch uint32) events.ShopKeySet {
	w := events.WrappedKey{Bench: feed.Bench, Wrapped: must(hex.DecodeString(keptWrappings[epoch]))}
	b := events.ShopKeySet{Epoch: epoch, Key: shopKey.ID(shop, epoch), Readers: []events.WrappedKey{w}}
	b.Signature = signed(0x01, b.Statement(shop))
	return b
}
