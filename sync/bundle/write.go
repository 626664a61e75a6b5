package bundle

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"io"

	"oldhand/events"
	"oldhand/sync/keyring"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

// Options say whose a bundle is and what its writer had.
type Options struct {
	Shop   events.ShopID
	Epoch  uint32      // of Key
	Key    segment.Key // seals the list of heads
	Had    []Had       // how far the writer has each feed, in any order
	Keys   bool        // AddKey will be used; programs that know no keys refuse the bundle then
	Random io.Reader   // for nonces and the name of a file in the making; crypto/rand, or a seeded source in tests
}

// Writer writes a bundle, segment after segment. After an error it writes
// nothing more.
type Writer struct {
	out      *bufio.Writer
	shop     events.ShopID
	version  byte
	hash     hash.Hash
	number   uint32
	segments uint64
	keys     bool // there are some, and nothing but keys may follow
	err      error
}

var errClosed = errors.New("the bundle has its end already")

// bufferSize is the length of the longest payload. So a payload goes through
// the buffer and never straight to the file, which may change what it is given
// (vfs.File says so): segments are the caller's.
const bufferSize = seal.MaxSealed

// NewWriter begins a bundle: its head and the list of heads.
func NewWriter(w io.Writer, o Options) (*Writer, error) {
	parts, err := sealHeads(o)
	if err != nil {
		return nil, fmt.Errorf("begin a bundle: list of heads: %w", err)
	}
	b := &Writer{out: bufio.NewWriterSize(w, bufferSize), shop: o.Shop, version: plain, hash: sha256.New()}
	if o.Keys {
		b.version = withKeys
	}
	b.write(fileHeadOf(bundles, o.Shop, b.version))
	for _, p := range parts {
		b.frame(headsFrame, p)
	}
	if b.err != nil {
		return nil, fmt.Errorf("begin a bundle: %w", b.err)
	}
	return b, nil
}

// errOrder is returned to who adds what can't stand where it would.
var errOrder = errors.New("segments come before keys, and keys only where the options say so")

// Add writes a segment of the bundle's shop. All segments come before the keys.
func (b *Writer) Add(sealed []byte) error {
	p, err := segment.ReadPlace(sealed)
	if err == nil && b.keys {
		err = errOrder
	}
	if err == nil && p.Shop != segment.TagOf(b.shop) {
		err = ErrOtherShop
	}
	if err != nil {
		return fmt.Errorf("add a segment to a bundle: %w", err)
	}
	b.frame(segmentFrame, sealed)
	if b.err != nil {
		return fmt.Errorf("add segment %s to a bundle: %w", p, b.err)
	}
	b.segments++
	return nil
}

// AddKey writes the sealed key of one of the shop's customers.
func (b *Writer) AddKey(sealed []byte) error {
	p, err := keyring.ReadPlace(sealed)
	switch {
	case err != nil:
	case b.version < withKeys:
		err = errOrder
	case p.Shop != segment.TagOf(b.shop):
		err = ErrOtherShop
	}
	if err != nil {
		return fmt.Errorf("add a key to a bundle: %w", err)
	}
	b.keys = true
	b.frame(keyFrame, sealed)
	if b.err != nil {
		return fmt.Errorf("add the key of person %s to a bundle: %w", p.Person, b.err)
	}
	return nil
}

// Close writes the end. It does not close what the bundle is written to.
func (b *Writer) Close() error {
	end := binary.BigEndian.AppendUint64(make([]byte, 0, endSize), b.segments)
	b.frame(endFrame, b.hash.Sum(end))
	if b.err == nil {
		b.err = b.out.Flush()
	}
	if b.err != nil {
		return fmt.Errorf("end a bundle: %w", b.err)
	}
	b.err = errClosed
	return nil
}

func (b *Writer) frame(k kind, payload []byte) {
	b.write(frameHeadOf(k, b.number, len(payload)))
	b.write(payload)
	b.write(appendSum(nil, payload))
	b.number++
}

func (b *Writer) write(p []byte) {
	if b.err != nil {
		return
	}
	b.hash.Write(p)
	_, b.err = b.out.Write(p)
}
