package seal

import (
	"crypto/cipher"
	"encoding/binary"
	"fmt"
	"io"

	"golang.org/x/crypto/chacha20poly1305"
)

// Key is the shop's secret of one epoch. Whoever has it can read what the
// shop's benches send in that epoch, and seal bytes of their own.
type Key [chacha20poly1305.KeySize]byte

const (
	nonceSize   = chacha20poly1305.NonceSizeX
	contentHead = 4 + 4

	// Overhead is what sealed bytes have beside the clear and the packed ones,
	// padding left out.
	Overhead = nonceSize + contentHead + chacha20poly1305.Overhead
)

// Seal packs, pads and seals plain bytes behind clear ones. The nonce is drawn
// from random, which must be a source of secrets: a nonce used twice under one
// key gives both contents away.
func Seal(key Key, clear, context, plain []byte, random io.Reader) ([]byte, error) {
	if len(plain) == 0 || len(plain) > MaxPlain {
		return nil, fmt.Errorf("seal %d bytes, from 1 to %d: %w", len(plain), MaxPlain, ErrTooLarge)
	}
	var nonce [nonceSize]byte
	if _, err := io.ReadFull(random, nonce[:]); err != nil {
		return nil, fmt.Errorf("draw a nonce: %w", err)
	}
	content := make([]byte, contentHead, contentHead+len(plain)/2)
	content = pack(content, plain)
	binary.BigEndian.PutUint32(content, uint32(len(plain)))
	binary.BigEndian.PutUint32(content[4:], uint32(len(content)-contentHead))
	size := ClassOf(len(clear) + nonceSize + len(content) + chacha20poly1305.Overhead)
	if size > MaxSealed {
		return nil, fmt.Errorf("sealed it has %d bytes, at most %d: %w", size, MaxSealed, ErrTooLarge)
	}
	return sealContent(key, clear, context, nonce, padded(content, size-len(clear)-nonceSize-chacha20poly1305.Overhead))
}

func padded(content []byte, size int) []byte {
	return append(content, make([]byte, size-len(content))...)
}

// sealContent lays clear bytes, nonce and sealed content one after the other.
func sealContent(key Key, clear, context []byte, nonce [nonceSize]byte, content []byte) ([]byte, error) {
	aead, err := newAEAD(key)
	if err != nil {
		return nil, err
	}
	b := make([]byte, 0, len(clear)+nonceSize+len(content)+chacha20poly1305.Overhead)
	b = append(append(b, clear...), nonce[:]...)
	return aead.Seal(b, nonce[:], content, additional(clear, context)), nil
}

// Open gives the plain bytes that were sealed behind the first clear bytes of
// sealed in a context.
func Open(key Key, sealed []byte, clear int, context []byte) ([]byte, error) {
	if err := CheckSize(len(sealed)); err != nil {
		return nil, err
	}
	if least := clear + Overhead; len(sealed) < least {
		return nil, fmt.Errorf("%d bytes, at least %d: %w", len(sealed), least, ErrMalformed)
	}
	aead, err := newAEAD(key)
	if err != nil {
		return nil, err
	}
	nonce, box := sealed[clear:clear+nonceSize], sealed[clear+nonceSize:]
	content, err := aead.Open(nil, nonce, box, additional(sealed[:clear], context))
	if err != nil {
		return nil, ErrSeal // the library says no more than that
	}
	return readContent(content)
}

// readContent unpacks what a seal held. It has one form: what stands behind
// the packed bytes is zero.
func readContent(content []byte) ([]byte, error) {
	plain, packed := binary.BigEndian.Uint32(content), binary.BigEndian.Uint32(content[4:])
	rest := content[contentHead:]
	if plain > MaxPlain {
		return nil, fmt.Errorf("content of %d bytes unpacked, at most %d: %w", plain, MaxPlain, ErrTooLarge)
	}
	if plain == 0 || uint64(packed) > uint64(len(rest)) {
		return nil, fmt.Errorf("content of %d bytes packed into %d, where %d are: %w", plain, packed, len(rest), ErrMalformed)
	}
	for _, c := range rest[packed:] {
		if c != 0 {
			return nil, fmt.Errorf("content goes on behind its %d packed bytes: %w", packed, ErrMalformed)
		}
	}
	return unpack(rest[:packed], int(plain))
}

func newAEAD(key Key) (cipher.AEAD, error) {
	aead, err := chacha20poly1305.NewX(key[:])
	if err != nil {
		return nil, fmt.Errorf("use a key: %w", err)
	}
	return aead, nil
}

func additional(clear, context []byte) []byte {
	return append(clear[:len(clear):len(clear)], context...)
}
