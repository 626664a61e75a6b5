package events_test

import (
	"bytes"
	"crypto/ed25519"
	"strings"
	"testing"

	"oldhand/events"

	"github.com/nats-io/nkeys"
)

// What a login signs is checked by the nkeys library under the name it gives.
func TestALoginIsProvedUnderItsName(t *testing.T) {
	id := must(bench.Public())
	verifier, err := nkeys.FromPublicKey(id.LoginName())
	if err != nil {
		t.Fatal(err)
	}
	for _, nonce := range []string{"a", "PXoWU7zWAMt75FY", "-_09azAZ", strings.Repeat("x", 64)} {
		sig := must(bench.SignLogin([]byte(nonce)))
		if err := verifier.Verify([]byte(nonce), sig); err != nil {
			t.Errorf("nonce %q: %v", nonce, err)
		}
	}
}

// An exchange that sends a statement in place of a nonce gets no signature
// under it.
func TestALoginSignsNoStatement_P10(t *testing.T) {
	head := must(bench.SignHead(shop, exampleHead))
	for name, nonce := range map[string][]byte{
		"a head":       statementByHand("oldhand head 1", shop[:], headByHand(exampleHead)),
		"a roster":     events.BenchRetired{Bench: must(bench.Public())}.Statement(shop),
		"nothing":      nil,
		"too long":     bytes.Repeat([]byte("x"), 65),
		"a space":      []byte("oldhand head"),
		"a zero byte":  []byte("oldhand\x00"),
		"a slash":      []byte("ab/c"),
		"a plus":       []byte("ab+c"),
		"not ASCII":    []byte("ab\xc3\xa4"),
		"a line's end": []byte("abc\n"),
	} {
		if sig, err := bench.SignLogin(nonce); err == nil {
			t.Errorf("%s was signed: %x", name, sig)
		}
	}
	id := must(bench.Public())
	if !ed25519.Verify(id[:], statementByHand("oldhand head 1", shop[:], headByHand(exampleHead)), head.Signature[:]) {
		t.Error("the statement tried above is not what a head signs")
	}
	if _, err := (events.BenchKey{}).SignLogin([]byte("abc")); err == nil {
		t.Error("no key signed")
	}
}
