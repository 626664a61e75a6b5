package invite

import (
	"crypto/ed25519"
	"fmt"

	"oldhand/events"
)

// Request asks for admission.
type Request struct {
	Version   uint           `cbor:"1,keyasint"`
	Shop      events.ShopID  `cbor:"2,keyasint"`
	Owner     events.Hash    `cbor:"3,keyasint"` // OwnerHash
	Guest     Guest          `cbor:"4,keyasint"` // as logged in
	Bench     events.BenchID `cbor:"5,keyasint"`
	Name      string         `cbor:"6,keyasint"`
	Signature []byte         `cbor:"7,keyasint"` // the bench's over events.JoinStatement
}

// UnmarshalCBOR reads a byte string of 32.
func (g *Guest) UnmarshalCBOR(b []byte) error { return (*events.Hash)(g).UnmarshalCBOR(b) }

// Ask makes the request of a bench for a shop the code was checked against.
func (c Code) Ask(founding events.ShopFounded, key events.BenchKey, name string) (r Request, err error) {
	if err := c.Check(founding); err != nil {
		return r, err
	}
	login, err := c.Login()
	if err != nil {
		return r, err
	}
	r = Request{Version: messageVersion, Shop: founding.Shop(), Owner: OwnerHash(founding), Name: name}
	if r.Guest, err = GuestOf(login); err != nil {
		return r, err
	}
	if r.Bench, err = key.Public(); err != nil {
		return r, err
	}
	if r.Signature, err = key.AskToJoin(r.Shop, r.Owner, r.Guest, name); err != nil {
		return r, err
	}
	return r, r.Validate()
}

// Validate wants a request of this version with everything in it. Name and key
// follow the rules of the admission they are meant for.
func (r Request) Validate() error {
	if r.Version != messageVersion || len(r.Signature) != ed25519.SignatureSize {
		return fmt.Errorf("join request: version %d, signature of %d bytes: %w", r.Version, len(r.Signature), ErrMessage)
	}
	like := events.BenchAdmitted{Bench: r.Bench, Name: r.Name, Number: 1, Signature: r.Signature}
	if err := like.Validate(); err != nil {
		return fmt.Errorf("join request: %w: %w", ErrMessage, err)
	}
	return nil
}

// Verify checks that the request is for this shop, made by the guest that is
// logged in, and signed by the bench it names.
func (r Request) Verify(founding events.ShopFounded, guest Guest) error {
	statement := events.JoinStatement(r.Shop, r.Owner, r.Guest, r.Bench, r.Name)
	what := ""
	switch {
	case r.Shop != founding.Shop():
		what = "another shop"
	case r.Owner != OwnerHash(founding):
		what = "another owner"
	case r.Guest != guest:
		what = "another guest"
	case !ed25519.Verify(r.Bench[:], statement, r.Signature):
		what = "signature"
	default:
		return nil
	}
	return fmt.Errorf("join request: %s: %w", what, ErrNotMine)
}

// Encode gives the request's bytes.
func (r Request) Encode() ([]byte, error) {
	return encodeMessage("join request", r, r.Validate(), MaxRequest)
}

// DecodeRequest reads a request and holds it to its rules. It says nothing of
// who sent it: see Verify.
func DecodeRequest(b []byte) (r Request, err error) {
	if err := decodeMessage("join request", b, MaxRequest, &r); err != nil {
		return Request{}, err
	}
	return r, r.Validate()
}
