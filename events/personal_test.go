package events_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"oldhand/events"

	"golang.org/x/crypto/chacha20poly1305"
)

var nonce = [24]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24}

func sealedCustomer() events.PersonRecorded { return must(customer.Seal(person, personKey, nonce)) }

func TestP15_WhatIsSealedForAPersonOpensWithThatPersonsKey(t *testing.T) {
	for _, p := range []events.Personal{customer, {Name: "Jo"}, {City: "Kelm"}, {Address: strings.Repeat("a", 9000)}} {
		b, err := p.Seal(person, personKey, nonce)
		if err != nil || b.Validate() != nil {
			t.Fatalf("%v, %v", err, b.Validate())
		}
		if got, err := b.Open(person, personKey); err != nil || got != p {
			t.Errorf("opened %+v, %v; want %+v", got, err, p)
		}
	}
}

// draft-irtf-cfrg-xchacha: a 24-byte nonce, and what is sealed is 16 bytes
// longer than what is not. The layout, nonce first and the person's id as
// additional data, is ours.
func TestP15_TheSealedTextIsNonceThenXChaCha20Poly1305OverTheID(t *testing.T) {
	b := sealedCustomer()
	aead := must(chacha20poly1305.NewX(personKey[:]))
	plain, err := aead.Open(nil, nonce[:], b.Sealed[24:], person[:])
	if err != nil || !bytes.Equal(b.Sealed[:24], nonce[:]) || len(b.Sealed) != 24+len(plain)+16 {
		t.Fatalf("%v", err)
	}
	want := append([]byte{0xa5, 0x01, 0x6e}, "Ilse Brandauer"...) // {1: "Ilse Brandauer", and four more (RFC 8949)
	if !bytes.HasPrefix(plain, want) {
		t.Errorf("sealed is %x, want it to begin with %x", plain, want)
	}
}

func TestP15_WhatWasSealedOpensForNobodyElse(t *testing.T) {
	b := sealedCustomer()
	otherKey, otherPerson := personKey, person
	otherKey[31] ^= 1
	otherPerson[0] ^= 1
	for name, err := range map[string]error{
		"another key":    second(b.Open(person, otherKey)),
		"another person": second(b.Open(otherPerson, personKey)),
		"no key":         second(b.Open(person, events.PersonKey{})),
	} {
		if err == nil || !strings.Contains(err.Error(), "does not open with the key kept") {
			t.Errorf("%s: got %v", name, err)
		}
	}
	for bit := range len(b.Sealed) * 8 {
		bad := events.PersonRecorded{Sealed: bytes.Clone(b.Sealed)}
		bad.Sealed[bit/8] ^= 1 << (bit % 8)
		if p, err := bad.Open(person, personKey); err == nil || p != (events.Personal{}) {
			t.Fatalf("with bit %d flipped it opens as %+v, %v", bit, p, err)
		}
	}
	for n := range b.Sealed {
		if _, err := (events.PersonRecorded{Sealed: b.Sealed[:n]}).Open(person, personKey); err == nil {
			t.Fatalf("cut off after %d bytes it opens", n)
		}
	}
	if err := second((events.PersonRecorded{}).Open(person, personKey)); !errors.Is(err, events.ErrMalformed) {
		t.Errorf("nothing sealed: got %v, want ErrMalformed", err)
	}
}

// What a newer program seals beside is skipped; what is no map is refused.
func TestP15_WhatIsSealedButNotAPersonIsRefused(t *testing.T) {
	aead := must(chacha20poly1305.NewX(personKey[:]))
	seal := func(plain string) events.PersonRecorded {
		return events.PersonRecorded{Sealed: aead.Seal(nonce[:], nonce[:], []byte(plain), person[:])}
	}
	if p, err := seal("\xa2\x04\x61x\x18\x63\x01").Open(person, personKey); err != nil || p != (events.Personal{Address: "x"}) {
		t.Errorf("with a field added: %+v, %v", p, err)
	}
	for _, plain := range []string{"", "\x01", "\xa1\x01\x01", "\xa0\xa0"} {
		if _, err := seal(plain).Open(person, personKey); !errors.Is(err, events.ErrMalformed) {
			t.Errorf("%x: got %v, want ErrMalformed", plain, err)
		}
	}
}

func TestP15_NothingOfAPersonStandsInTheRecordInClear(t *testing.T) {
	rec := example{"", eventID(1), draftOf(sealedCustomer())}.record()
	for _, s := range []string{customer.Name, customer.Phone, customer.Email, customer.Address, customer.City} {
		for _, word := range strings.Fields(s) {
			if len(word) > 2 && bytes.Contains(rec, []byte(word)) {
				t.Errorf("%q stands in the record", word)
			}
		}
	}
	e, err := events.Link(begunHead(t), rec)
	if err != nil || e.Line() != "person recorded" {
		t.Errorf("line %q, %v", e.Line(), err)
	}
	if _, err := (events.Personal{}).Seal(person, personKey, nonce); err == nil {
		t.Error("sealed a person of whom nothing is known")
	}
}

// Another nonce gives other bytes throughout: equal customers do not show.
func TestP15_TheSamePersonSealedTwiceLooksDifferent(t *testing.T) {
	other := nonce
	other[0] ^= 1
	a, b := sealedCustomer().Sealed, must(customer.Seal(person, personKey, other)).Sealed
	same := 0
	for i := 24; i < len(a); i++ {
		if a[i] == b[i] {
			same++
		}
	}
	if same > len(a)/8 { // one in 256 by chance
		t.Errorf("%d of %d bytes are the same", same, len(a)-24)
	}
}

func second[T any](_ T, err error) error { return err }
