package events

import (
	"crypto/ed25519"
	"encoding/binary"
)

const signatureSize = ed25519.SignatureSize

// FeedBegun is the first event of every feed: to which shop it belongs and
// where the bench's log stood before.
type FeedBegun struct {
	Shop     ShopID `cbor:"1,keyasint"`
	Parent   Head   `cbor:"2,keyasint,omitzero"` // zero for a bench's very first feed
	Software string `cbor:"3,keyasint,omitempty"`
}

// Head is how far a feed goes: its last event and that event's hash.
type Head struct {
	Feed FeedID `cbor:"1,keyasint,omitzero"`
	Seq  uint64 `cbor:"2,keyasint,omitempty"`
	Hash Hash   `cbor:"3,keyasint,omitzero"`
}

// Kind is KindFeedBegun.
func (FeedBegun) Kind() Kind { return KindFeedBegun }

// Validate wants a shop and a parent that is whole or absent.
func (b FeedBegun) Validate() error {
	p := b.Parent
	return firstOf(
		clause(b.Shop != ShopID{}, "feed begun: no shop"), word("feed begun: software", b.Software),
		clause((p.Seq == 0) == (p.Feed == FeedID{}) && (p.Seq == 0) == (p.Hash == Hash{}), "feed begun: half a parent head"),
	)
}

// Line is the event's line in a history.
func (FeedBegun) Line() string { return "a bench opened its log" }

// ShopFounded is the shop's first event. The owner's key signs FoundStatement;
// the shop's id is the start of that statement's hash.
type ShopFounded struct {
	Name      string   `cbor:"1,keyasint"`
	Owner     BenchID  `cbor:"2,keyasint"` // public key, Ed25519
	Nonce     [16]byte `cbor:"3,keyasint"`
	Signature []byte   `cbor:"4,keyasint"`
}

// Kind is KindShopFounded.
func (ShopFounded) Kind() Kind { return KindShopFounded }

// Statement is what the owner signs.
func (b ShopFounded) Statement() []byte {
	return statement("oldhand shop founded 1", b.Nonce[:], b.Owner[:], []byte(b.Name))
}

// Validate wants a name and the owner's signature.
func (b ShopFounded) Validate() error {
	return firstOf(clause(b.Name != "", "shop: no name"), word("shop: name", b.Name),
		clause(ed25519.Verify(b.Owner[:], b.Statement(), b.Signature), "shop: the owner's signature does not match"))
}

// Line is the event's line in a history.
func (b ShopFounded) Line() string { return "shop founded: " + b.Name }

// Shop is the id of the founded shop.
func (b ShopFounded) Shop() (id ShopID) {
	h := hashOf("oldhand shop id 1", b.Statement())
	copy(id[:], h[:])
	return id
}

// BenchAdmitted lets a bench's feeds count. The owner signs its Statement.
type BenchAdmitted struct {
	Bench     BenchID `cbor:"1,keyasint"`
	Name      string  `cbor:"2,keyasint"`
	Number    uint32  `cbor:"3,keyasint"` // of the bench's tags, from 1
	Signature []byte  `cbor:"4,keyasint"`
}

// Kind is KindBenchAdmitted.
func (BenchAdmitted) Kind() Kind { return KindBenchAdmitted }

// Statement is what the shop's owner signs.
func (b BenchAdmitted) Statement(shop ShopID) []byte {
	return statement("oldhand bench admitted 1", shop[:], b.Bench[:], binary.BigEndian.AppendUint32(nil, b.Number), []byte(b.Name))
}

// Validate wants a bench, a name and a number. Whether the signature is the
// owner's is for the roster to say, who knows the owner.
func (b BenchAdmitted) Validate() error {
	return firstOf(clause(b.Bench != BenchID{}, "bench: no key"), clause(b.Name != "", "bench: no name"), word("bench: name", b.Name),
		clause(b.Number >= 1 && b.Number <= MaxBenches, "bench: number %d", b.Number),
		clause(len(b.Signature) == signatureSize, "bench: signature of %d bytes", len(b.Signature)))
}

// Line is the event's line in a history.
func (b BenchAdmitted) Line() string { return "bench admitted: " + b.Name }

// BenchRetired ends a bench: of its feeds only what these heads cover counts.
type BenchRetired struct {
	Bench     BenchID `cbor:"1,keyasint"`
	Counted   []Head  `cbor:"2,keyasint,omitempty"`
	Why       string  `cbor:"3,keyasint,omitempty"`
	Signature []byte  `cbor:"4,keyasint"`
}

// Kind is KindBenchRetired.
func (BenchRetired) Kind() Kind { return KindBenchRetired }

// Statement is what the shop's owner signs.
func (b BenchRetired) Statement(shop ShopID) []byte {
	parts := [][]byte{shop[:], b.Bench[:]}
	for _, h := range b.Counted {
		parts = append(parts, h.bytes())
	}
	return statement("oldhand bench retired 1", append(parts, []byte(b.Why))...)
}

// Validate wants a bench and heads of that bench.
func (b BenchRetired) Validate() error {
	err := firstOf(clause(b.Bench != BenchID{}, "bench retired: no key"), text("bench retired: why", b.Why),
		list("bench retired: heads", len(b.Counted)),
		clause(len(b.Signature) == signatureSize, "bench retired: signature of %d bytes", len(b.Signature)))
	for _, h := range b.Counted {
		err = firstOf(err, clause(h.Feed.Bench == b.Bench && h.Seq > 0, "bench retired: a head that is not of this bench"))
	}
	return err
}

// Line is the event's line in a history.
func (b BenchRetired) Line() string { return phrase("bench retired", b.Why) }

// OwnerNamed names a further key of the shop's owner, printed and kept in a
// drawer: what it signs counts as the founder's. An owner signs its Statement.
type OwnerNamed struct {
	Owner     BenchID `cbor:"1,keyasint"`           // public key, Ed25519
	Name      string  `cbor:"2,keyasint,omitempty"` // where the key is kept, or by whom
	Signature []byte  `cbor:"3,keyasint"`
}

// Kind is KindOwnerNamed.
func (OwnerNamed) Kind() Kind { return KindOwnerNamed }

// Statement is what an owner signs.
func (b OwnerNamed) Statement(shop ShopID) []byte {
	return statement("oldhand owner named 1", shop[:], b.Owner[:], []byte(b.Name))
}

// Validate wants a key.
func (b OwnerNamed) Validate() error {
	return firstOf(clause(b.Owner != BenchID{}, "owner named: no key"), word("owner named: name", b.Name),
		clause(len(b.Signature) == signatureSize, "owner named: signature of %d bytes", len(b.Signature)))
}

// Line is the event's line in a history.
func (b OwnerNamed) Line() string { return phrase("a further owner's key named", b.Name) }

// FeedReleased lets events of a retired bench count after all: those up to
// these heads, beside what its retirement left. An owner signs its Statement.
type FeedReleased struct {
	Bench     BenchID `cbor:"1,keyasint"`
	Heads     []Head  `cbor:"2,keyasint"`
	Why       string  `cbor:"3,keyasint,omitempty"`
	Signature []byte  `cbor:"4,keyasint"`
}

// Kind is KindFeedReleased.
func (FeedReleased) Kind() Kind { return KindFeedReleased }

// Statement is what an owner signs.
func (b FeedReleased) Statement(shop ShopID) []byte {
	parts := [][]byte{shop[:], b.Bench[:]}
	for _, h := range b.Heads {
		parts = append(parts, h.bytes())
	}
	return statement("oldhand feed released 1", append(parts, []byte(b.Why))...)
}

// Validate wants a bench and whole heads of that bench.
func (b FeedReleased) Validate() error {
	err := firstOf(clause(b.Bench != BenchID{}, "released: no key"), text("released: why", b.Why),
		clause(len(b.Heads) > 0, "released: no heads"), list("released: heads", len(b.Heads)),
		clause(len(b.Signature) == signatureSize, "released: signature of %d bytes", len(b.Signature)))
	for _, h := range b.Heads {
		err = firstOf(err, clause(h.Feed.Bench == b.Bench, "released: a head that is not of this bench"),
			clause(h.Seq > 0 && h.Hash != Hash{}, "released: half a head"))
	}
	return err
}

// Line is the event's line in a history.
func (b FeedReleased) Line() string { return phrase("quarantined events released", b.Why) }

// ForgetStatement is what the owner signs to have a person forgotten.
func ForgetStatement(shop ShopID, p PersonID) []byte {
	return statement("oldhand person forgotten 1", shop[:], p[:])
}

// JoinStatement is what a bench signs to ask for admission under a name: for
// this shop, of this owner, logged in as this guest.
func JoinStatement(shop ShopID, owner Hash, guest [32]byte, bench BenchID, name string) []byte {
	return statement("oldhand join asked 1", shop[:], owner[:], guest[:], bench[:], []byte(name))
}

// bytes is the head at a fixed length, for statements and signatures.
func (h Head) bytes() []byte {
	b := append(h.Feed.Bench[:len(h.Feed.Bench):len(h.Feed.Bench)], h.Feed.Incarnation[:]...)
	return append(binary.BigEndian.AppendUint64(b, h.Seq), h.Hash[:]...)
}

// statement lays parts one after the other, each behind its length, behind a
// tag that no other statement has, so that no two statements share bytes.
func statement(tag string, parts ...[]byte) []byte {
	b := append([]byte(tag), 0)
	for _, p := range parts {
		b = binary.BigEndian.AppendUint32(b, uint32(len(p)))
		b = append(b, p...)
	}
	return b
}
