package roster

import (
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"errors"

	"oldhand/events"
)

// Carrier is the event that a statement was found in: where to look, never a
// reason. Of several with one statement it is the one with the least id.
type Carrier struct {
	ID    events.EventID
	Place events.Head
}

func (c Carrier) compare(d Carrier) int {
	return cmp.Or(bytes.Compare(c.ID[:], d.ID[:]), compareHeads(c.Place, d.Place))
}

func compareHeads(a, b events.Head) int {
	return cmp.Or(compareFeeds(a.Feed, b.Feed), cmp.Compare(a.Seq, b.Seq), bytes.Compare(a.Hash[:], b.Hash[:]))
}

func compareFeeds(a, b events.FeedID) int {
	return cmp.Or(compareBenches(a.Bench, b.Bench), bytes.Compare(a.Incarnation[:], b.Incarnation[:]))
}

func compareBenches(a, b events.BenchID) int { return bytes.Compare(a[:], b[:]) }

// claim is a statement about the roster that may or may not be an owner's.
type claim struct {
	kind    events.Kind
	body    events.Body
	said    []byte // what is signed
	sig     []byte
	carrier Carrier
	why     error // why it is no statement at all, whoever signed it
}

// claimKey tells claims apart: what they say and how it is signed.
type claimKey [sha256.Size]byte

// Concerns reports whether events of a kind are about the roster.
func Concerns(k events.Kind) bool {
	switch k {
	case events.KindShopFounded, events.KindOwnerNamed, events.KindBenchAdmitted,
		events.KindBenchRetired, events.KindFeedReleased, events.KindShopKeySet:
		return true
	}
	return false
}

var errOtherShop = errors.New("founds another shop")

// claimOf reads an event of one of the six kinds.
func claimOf(shop events.ShopID, e events.Event) (claimKey, *claim) {
	body, err := e.Body()
	c := read(shop, e.Kind, body, err)
	c.carrier = Carrier{e.ID, e.Head()}
	if c.why != nil {
		return c.key(e.RawBody()), c
	}
	return c.key(nil), c
}

func read(shop events.ShopID, kind events.Kind, body events.Body, err error) *claim {
	c := &claim{kind: kind, body: body, why: err}
	if err == nil {
		c.why = body.Validate()
	}
	switch b := body.(type) {
	case events.ShopFounded:
		c.said, c.sig = b.Statement(), b.Signature
		if c.why == nil && b.Shop() != shop {
			c.why = errOtherShop
		}
	case events.OwnerNamed:
		c.said, c.sig = b.Statement(shop), b.Signature
	case events.BenchAdmitted:
		c.said, c.sig = b.Statement(shop), b.Signature
	case events.BenchRetired:
		c.said, c.sig = b.Statement(shop), b.Signature
	case events.FeedReleased:
		c.said, c.sig = b.Statement(shop), b.Signature
	case events.ShopKeySet:
		c.said, c.sig = b.Statement(shop), b.Signature
	}
	return c
}

// key is over the statement and its signature, or, of what is no statement,
// over the body as it came.
func (c *claim) key(raw []byte) (k claimKey) {
	h := sha256.New()
	for _, part := range [][]byte{binary.BigEndian.AppendUint16(nil, uint16(c.kind)), c.said, c.sig, raw} {
		h.Write(binary.BigEndian.AppendUint32(nil, uint32(len(part))))
		h.Write(part)
	}
	h.Sum(k[:0])
	return k
}

// signedBy checks a signature. A founding carries its own owner, whose
// signature is a rule of its kind.
func (c *claim) signedBy(owner events.BenchID) bool {
	return ed25519.Verify(owner[:], c.said, c.sig)
}
