package events_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"testing"

	"oldhand/events"
)

// statementByHand lays out what is signed: a tag and a zero byte, then each
// part behind its length in four bytes, big endian.
func statementByHand(tag string, parts ...[]byte) []byte {
	b := append([]byte(tag), 0)
	for _, p := range parts {
		b = append(b, byte(len(p)>>24), byte(len(p)>>16), byte(len(p)>>8), byte(len(p)))
		b = append(b, p...)
	}
	return b
}

func headByHand(h events.Head) []byte {
	b := append(append([]byte{}, h.Feed.Bench[:]...), h.Feed.Incarnation[:]...)
	b = append(b, 0, 0, 0, 0, 0, 0, byte(h.Seq>>8), byte(h.Seq))
	return append(b, h.Hash[:]...)
}

// exampleHead has a number of two bytes, so that its order shows.
var exampleHead = events.Head{Feed: feed, Seq: 0x0203, Hash: fill(0x77)}

func TestAHeadIsSignedAsLaidOutByHand(t *testing.T) {
	s := must(bench.SignHead(shop, exampleHead))
	want := signed(0x02, statementByHand("oldhand head 1", shop[:], headByHand(exampleHead)))
	if !bytes.Equal(s.Signature[:], want) {
		t.Errorf("signature %x, by hand %x", s.Signature, want)
	}
	if err := s.Verify(shop); err != nil {
		t.Error(err)
	}
}

func TestASignedHeadWithAnythingChangedIsRefused(t *testing.T) {
	good := must(bench.SignHead(shop, exampleHead))
	for name, change := range map[string]func(*events.SignedHead){
		"another number":        func(s *events.SignedHead) { s.Seq++ },
		"another hash":          func(s *events.SignedHead) { s.Hash[0] ^= 1 },
		"another run":           func(s *events.SignedHead) { s.Feed.Incarnation[0] ^= 1 },
		"another bench":         func(s *events.SignedHead) { s.Feed.Bench = must(otherBench.Public()) },
		"another signature":     func(s *events.SignedHead) { s.Signature[63] ^= 1 },
		"no signature":          func(s *events.SignedHead) { s.Signature = [64]byte{} },
		"signed by another key": func(s *events.SignedHead) { *s = must(otherBench.SignHead(shop, exampleHead)) },
		"no bench":              func(s *events.SignedHead) { s.Feed.Bench = events.BenchID{} },
	} {
		bad := good
		change(&bad)
		err := bad.Verify(shop)
		var refused *events.Refused
		if !errors.Is(err, events.ErrSignature) || !errors.As(err, &refused) || refused.Seq != bad.Seq {
			t.Errorf("%s: got %v, want ErrSignature", name, err)
		}
	}
}

// F26: a head of another shop is no head of this one.
func TestF26_AHeadSignedForAnotherShopIsRefused(t *testing.T) {
	other := must(owner.Found("Ostrel Street Radio Repair", half(0x34))).Shop()
	if other == shop {
		t.Fatal("two foundings gave one shop")
	}
	s := must(bench.SignHead(shop, exampleHead))
	if err := s.Verify(other); !errors.Is(err, events.ErrSignature) {
		t.Errorf("got %v, want ErrSignature", err)
	}
}

func TestFoundingAndShopIDAreAsLaidOutByHand(t *testing.T) {
	b := full[events.ShopFounded]()
	statement := statementByHand("oldhand shop founded 1", b.Nonce[:], b.Owner[:], []byte("Ostrel Street Radio Repair"))
	if !bytes.Equal(b.Statement(), statement) {
		t.Errorf("statement %x, by hand %x", b.Statement(), statement)
	}
	if !bytes.Equal(b.Signature, signed(0x01, statement)) {
		t.Error("signature is not the owner's over the statement")
	}
	sum := sha256.Sum256(append([]byte("oldhand shop id 1\x00"), statement...))
	if want := events.ShopID(sum[:16]); b.Shop() != want {
		t.Errorf("shop %s, by hand %s", b.Shop(), want)
	}
}

func TestF25_AnAdmissionCountsOnlyWithTheOwnersSignatureForThisShop(t *testing.T) {
	b := full[events.BenchAdmitted]()
	statement := statementByHand("oldhand bench admitted 1", shop[:], b.Bench[:], []byte{0, 0, 0, 2}, []byte("bench two"))
	if !bytes.Equal(b.Statement(shop), statement) || !bytes.Equal(b.Signature, signed(0x01, statement)) {
		t.Errorf("statement %x, by hand %x", b.Statement(shop), statement)
	}
	ownerID := must(owner.Public())
	if err := b.AdmittedBy(ownerID, shop); err != nil {
		t.Error(err)
	}
	otherShop := shop
	otherShop[0] ^= 1
	renamed, renumbered, rekeyed := b, b, b
	renamed.Name, renumbered.Number, rekeyed.Bench = "bench too", 3, must(otherBench.Public())
	for name, err := range map[string]error{
		"another owner":  b.AdmittedBy(must(bench.Public()), shop),
		"another shop":   b.AdmittedBy(ownerID, otherShop),
		"another name":   renamed.AdmittedBy(ownerID, shop),
		"another number": renumbered.AdmittedBy(ownerID, shop),
		"another bench":  rekeyed.AdmittedBy(ownerID, shop),
	} {
		if !errors.Is(err, events.ErrSignature) {
			t.Errorf("%s: got %v, want ErrSignature", name, err)
		}
	}
}

func TestRetiringAndForgettingAreStatedAsLaidOutByHand(t *testing.T) {
	b := full[events.BenchRetired]()
	if again := must(owner.Retire(shop, b.Bench, b.Counted, b.Why)); !bytes.Equal(again.Signature, b.Signature) {
		t.Error("a retirement is not signed as laid out")
	}
	b.Counted = append(b.Counted, exampleHead)
	want := statementByHand("oldhand bench retired 1", shop[:], b.Bench[:], headByHand(b.Counted[0]), headByHand(exampleHead), []byte("laptop sold"))
	if got := b.Statement(shop); !bytes.Equal(got, want) {
		t.Errorf("retired: %x, by hand %x", got, want)
	}
	r := full[events.FeedReleased]()
	r.Heads = append(r.Heads, exampleHead)
	want = statementByHand("oldhand feed released 1", shop[:], r.Bench[:], headByHand(r.Heads[0]), headByHand(exampleHead), []byte("honest work, sent late"))
	if got := r.Statement(shop); !bytes.Equal(got, want) {
		t.Errorf("released: %x, by hand %x", got, want)
	}
	n := full[events.OwnerNamed]()
	want = statementByHand("oldhand owner named 1", shop[:], n.Owner[:], []byte("in the drawer"))
	if got := n.Statement(shop); !bytes.Equal(got, want) || !bytes.Equal(n.Signature, signed(0x01, want)) {
		t.Errorf("owner named: %x, by hand %x", got, want)
	}
	o, g := fill(0x11), fill(0x12)
	want = statementByHand("oldhand join asked 1", shop[:], o[:], g[:], feed.Bench[:], []byte("bench two"))
	if got := must(bench.AskToJoin(shop, o, g, "bench two")); !bytes.Equal(got, signed(0x02, want)) {
		t.Errorf("asked to join: signed %x", got)
	}
	want = statementByHand("oldhand person forgotten 1", shop[:], person[:])
	if got := events.ForgetStatement(shop, person); !bytes.Equal(got, want) {
		t.Errorf("forgotten: %x, by hand %x", got, want)
	}
}

// Without lengths, what one field loses the next could win.
func TestNoTwoFoundingsShareAStatement(t *testing.T) {
	a := events.BenchAdmitted{Bench: feed.Bench, Name: "ab", Number: 1}
	b := events.BenchRetired{Bench: feed.Bench, Why: "ab"}
	if bytes.Equal(a.Statement(shop), b.Statement(shop)) {
		t.Error("an admission and a retirement share a statement")
	}
	withHead, inWhy := b, b
	withHead.Counted, withHead.Why = []events.Head{exampleHead}, ""
	inWhy.Why = string(headByHand(exampleHead))
	if bytes.Equal(withHead.Statement(shop), inWhy.Statement(shop)) {
		t.Error("a counted head and a reason share a statement")
	}
}

func TestKeysThatAreNotThereOrNotKeysAreRefused(t *testing.T) {
	var none events.BenchKey
	if !none.IsZero() || bench.IsZero() {
		t.Error("IsZero tells a key from none the wrong way round")
	}
	if _, err := none.SignHead(shop, exampleHead); err == nil {
		t.Error("signed without a key")
	}
	if _, err := none.Admit(shop, feed.Bench, "two", 2); err == nil {
		t.Error("admitted without a key")
	}
	if _, err := none.NameOwner(shop, feed.Bench, ""); err == nil {
		t.Error("named an owner without a key")
	}
	if _, err := none.Retire(shop, feed.Bench, nil, ""); err == nil {
		t.Error("retired without a key")
	}
	if _, err := none.Release(shop, feed.Bench, []events.Head{exampleHead}, ""); err == nil {
		t.Error("released without a key")
	}
	if _, err := none.AskToJoin(shop, events.Hash{}, fill(1), ""); err == nil {
		t.Error("asked to join without a key")
	}
	if _, err := none.Found("Kelm Radio", half(1)); err == nil {
		t.Error("founded without a key")
	}
	if _, err := none.Seed(); err == nil {
		t.Error("gave the seed of no key")
	}
	if _, err := events.BenchKeyFrom([]byte("SUNOTASEED")); err == nil {
		t.Error("took a seed that is none")
	}
	a, b := must(events.NewBenchKey()), must(events.NewOwnerKey())
	if must(a.Public()) == must(b.Public()) || must(a.Public()) == (events.BenchID{}) {
		t.Error("two drawn keys are one, or none")
	}
	if must(events.BenchKeyFrom(must(b.Seed()))).IsZero() {
		t.Error("an owner's key does not come back from its seed")
	}
}
