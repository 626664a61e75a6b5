package events

import (
	"crypto/ed25519"
	"fmt"

	"golang.org/x/crypto/chacha20poly1305"
)

// Personal text never stands in an event in clear. Each person has a key of
// their own, drawn at random and derived from nothing; what is known of the
// person is sealed with it (XChaCha20-Poly1305, with the person's id as
// additional data). Dropping the key drops the text, in every copy of the
// event, without touching a hash. Keys are kept beside the log, not in it.

// PersonKey opens what is sealed for one person.
type PersonKey [chacha20poly1305.KeySize]byte

const sealOverhead = chacha20poly1305.NonceSizeX + chacha20poly1305.Overhead

// Personal is what is known of a customer.
type Personal struct {
	Name    string `cbor:"1,keyasint,omitempty" json:"name,omitempty"`
	Phone   string `cbor:"2,keyasint,omitempty" json:"phone,omitempty"`
	Email   string `cbor:"3,keyasint,omitempty" json:"email,omitempty"`
	Address string `cbor:"4,keyasint,omitempty" json:"address,omitempty"`
	City    string `cbor:"5,keyasint,omitempty" json:"city,omitempty"`
}

// Validate wants something known, within limits.
func (p Personal) Validate() error {
	return firstOf(clause(p != Personal{}, "person: nothing known"), word("person: name", p.Name), word("person: phone", p.Phone),
		word("person: email", p.Email), text("person: address", p.Address), word("person: city", p.City))
}

// Seal makes the event body that records a person. Nonce must be fresh random
// bytes.
func (p Personal) Seal(id PersonID, key PersonKey, nonce [chacha20poly1305.NonceSizeX]byte) (PersonRecorded, error) {
	if err := p.Validate(); err != nil {
		return PersonRecorded{}, err
	}
	plain, err := bodyEncoder.Marshal(p)
	if err != nil {
		return PersonRecorded{}, fmt.Errorf("person: %w", err)
	}
	aead, err := chacha20poly1305.NewX(key[:])
	if err != nil {
		return PersonRecorded{}, fmt.Errorf("person: %w", err)
	}
	return PersonRecorded{aead.Seal(nonce[:], nonce[:], plain, id[:])}, nil
}

// Open reads what was sealed for the person.
func (b PersonRecorded) Open(id PersonID, key PersonKey) (p Personal, err error) {
	if len(b.Sealed) < sealOverhead {
		return p, fmt.Errorf("person %s: %w", id, ErrMalformed)
	}
	aead, err := chacha20poly1305.NewX(key[:])
	if err != nil {
		return p, fmt.Errorf("person %s: %w", id, err)
	}
	n := chacha20poly1305.NonceSizeX
	plain, err := aead.Open(nil, b.Sealed[:n], b.Sealed[n:], id[:])
	if err != nil {
		return p, fmt.Errorf("person %s: sealed text does not open with the key kept: %w", id, err)
	}
	if err := bodyDecoder.Unmarshal(plain, &p); err != nil {
		return p, fmt.Errorf("person %s: %w: %v", id, ErrMalformed, err)
	}
	return p, nil
}

func verifyStatement(key [32]byte, statement, sig []byte, what string) error {
	if !ed25519.Verify(key[:], statement, sig) {
		return fmt.Errorf("%s: %w", what, ErrSignature)
	}
	return nil
}
