package events

import (
	"errors"
	"fmt"

	"github.com/nats-io/nkeys"
)

// BenchKey signs for a bench, or for the shop's owner: an Ed25519 key in the
// form of an nkey, so that the same key can log in to an exchange.
type BenchKey struct{ pair nkeys.KeyPair }

var errNoKey = errors.New("no key to sign with")

// NewBenchKey draws a bench's key.
func NewBenchKey() (BenchKey, error) { return drawn(nkeys.CreateUser()) }

// NewOwnerKey draws a shop owner's key.
func NewOwnerKey() (BenchKey, error) { return drawn(nkeys.CreateAccount()) }

// drawn is a key that was drawn. It fails only where the machine has no randomness.
func drawn(pair nkeys.KeyPair, err error) (BenchKey, error) {
	if err != nil {
		return BenchKey{}, fmt.Errorf("draw a key: %w", err)
	}
	return BenchKey{pair}, nil
}

// BenchKeyFrom reads a key from its seed.
func BenchKeyFrom(seed []byte) (BenchKey, error) {
	pair, err := nkeys.FromSeed(seed)
	if err != nil {
		return BenchKey{}, fmt.Errorf("read a key: %w", err)
	}
	return BenchKey{pair}, nil
}

// BenchKeyOf makes a bench's key of 32 random bytes, for shops that must come
// out the same each time.
func BenchKeyOf(random [32]byte) (BenchKey, error) { return keyOf(nkeys.PrefixByteUser, random) }

// OwnerKeyOf makes a shop owner's key of 32 random bytes, for shops that must
// come out the same each time.
func OwnerKeyOf(random [32]byte) (BenchKey, error) { return keyOf(nkeys.PrefixByteAccount, random) }

func keyOf(kind nkeys.PrefixByte, random [32]byte) (BenchKey, error) {
	seed, err := nkeys.EncodeSeed(kind, random[:])
	if err != nil { // no kind that is used here, and no 32 bytes, give one
		return BenchKey{}, fmt.Errorf("make a key of random bytes: %w", err)
	}
	return BenchKeyFrom(seed)
}

// Seed is the key's secret. Whoever has it can write as the bench.
func (k BenchKey) Seed() ([]byte, error) {
	if k.pair == nil {
		return nil, errNoKey
	}
	return k.pair.Seed()
}

// IsZero reports whether there is no key.
func (k BenchKey) IsZero() bool { return k.pair == nil }

// Public is the key's public half.
func (k BenchKey) Public() (id BenchID, err error) {
	if k.pair == nil {
		return id, errNoKey
	}
	text, err := k.pair.PublicKey()
	if err != nil {
		return id, fmt.Errorf("public half of a key: %w", err)
	}
	raw, err := nkeys.Decode(nkeys.Prefix(text), []byte(text))
	if err != nil {
		return id, fmt.Errorf("public half of a key: %w", err)
	}
	copy(id[:], raw)
	return id, nil
}

func (k BenchKey) sign(b []byte) ([]byte, error) {
	if k.pair == nil {
		return nil, errNoKey
	}
	return k.pair.Sign(b)
}

// maxLoginNonce is far above the 15 characters that exchanges send, and no
// statement of ours is as short.
const maxLoginNonce = 64

// SignLogin signs what an exchange sends to have a login proved. The exchange
// chooses these bytes, and the same key signs heads and rosters; so they must
// look like a nonce, base 64 for URLs, which no statement does: each of those
// begins with words and a zero byte.
func (k BenchKey) SignLogin(nonce []byte) ([]byte, error) {
	if len(nonce) == 0 || len(nonce) > maxLoginNonce {
		return nil, fmt.Errorf("sign a login: nonce of %d bytes, want 1 to %d", len(nonce), maxLoginNonce)
	}
	for _, c := range nonce {
		if !isBase64URL(c) {
			return nil, fmt.Errorf("sign a login: byte %#x is not of a nonce", c)
		}
	}
	return k.sign(nonce)
}

func isBase64URL(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_'
}

// LoginName is the bench's public key as an exchange writes it.
func (id BenchID) LoginName() string {
	name, err := nkeys.Encode(nkeys.PrefixByteUser, id[:])
	if err != nil {
		panic("encode 32 bytes as a user's key: " + err.Error()) // can't be: the prefix is valid and any 32 bytes will do
	}
	return string(name)
}

// Found makes a shop's founding, signed by its owner.
func (k BenchKey) Found(name string, nonce [16]byte) (b ShopFounded, err error) {
	owner, err := k.Public()
	if err != nil {
		return b, err
	}
	b = ShopFounded{Name: name, Owner: owner, Nonce: nonce}
	b.Signature, err = k.sign(b.Statement())
	return b, err
}

// Admit makes a bench's admission, signed by the shop's owner.
func (k BenchKey) Admit(shop ShopID, bench BenchID, name string, number uint32) (b BenchAdmitted, err error) {
	b = BenchAdmitted{Bench: bench, Name: name, Number: number}
	b.Signature, err = k.sign(b.Statement(shop))
	return b, err
}

// NameOwner makes the naming of a further owner's key, signed by an owner.
func (k BenchKey) NameOwner(shop ShopID, owner BenchID, name string) (b OwnerNamed, err error) {
	b = OwnerNamed{Owner: owner, Name: name}
	b.Signature, err = k.sign(b.Statement(shop))
	return b, err
}

// Retire makes a bench's retirement with the heads that still count, signed by
// an owner.
func (k BenchKey) Retire(shop ShopID, bench BenchID, counted []Head, why string) (b BenchRetired, err error) {
	b = BenchRetired{Bench: bench, Counted: counted, Why: why}
	b.Signature, err = k.sign(b.Statement(shop))
	return b, err
}

// Release makes the release of a retired bench's events up to heads, signed by
// an owner.
func (k BenchKey) Release(shop ShopID, bench BenchID, heads []Head, why string) (b FeedReleased, err error) {
	b = FeedReleased{Bench: bench, Heads: heads, Why: why}
	b.Signature, err = k.sign(b.Statement(shop))
	return b, err
}

// AskToJoin signs the bench's JoinStatement.
func (k BenchKey) AskToJoin(shop ShopID, owner Hash, guest [32]byte, name string) ([]byte, error) {
	bench, err := k.Public()
	if err != nil {
		return nil, err
	}
	return k.sign(JoinStatement(shop, owner, guest, bench, name))
}

// AdmittedBy checks that the owner signed the admission.
func (b BenchAdmitted) AdmittedBy(owner [32]byte, shop ShopID) error {
	return verifyStatement(owner, b.Statement(shop), b.Signature, "bench "+b.Name)
}
