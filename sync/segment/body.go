package segment

import (
	"encoding/binary"
	"fmt"

	"oldhand/events"
)

const (
	hashSize      = len(events.Hash{})
	signatureSize = len(events.SignedHead{}.Signature)
	fixedSize     = hashSize + hashSize + signatureSize
	lengthSize    = 4
)

// body is what a segment seals.
type body struct {
	prev, hash events.Hash
	signature  [signatureSize]byte
	records    [][]byte
}

func (b body) bytes() []byte {
	size := fixedSize
	for _, r := range b.records {
		size += lengthSize + len(r)
	}
	out := append(make([]byte, 0, size), b.prev[:]...)
	out = append(append(out, b.hash[:]...), b.signature[:]...)
	for _, r := range b.records {
		out = append(binary.BigEndian.AppendUint32(out, uint32(len(r))), r...)
	}
	return out
}

// readBody reads n records, at most MaxEvents, which share the memory of plain.
// Each length is held against what is there.
func readBody(plain []byte, n int) (b body, err error) {
	if len(plain) < fixedSize {
		return b, fmt.Errorf("%d bytes inside, at least %d: %w", len(plain), fixedSize, ErrMalformed)
	}
	plain = plain[copy(b.prev[:], plain):]
	plain = plain[copy(b.hash[:], plain):]
	plain = plain[copy(b.signature[:], plain):]
	b.records = make([][]byte, 0, n)
	for range n {
		r, rest, err := readRecord(plain)
		if err != nil {
			return body{}, fmt.Errorf("record %d of %d: %w", len(b.records)+1, n, err)
		}
		b.records, plain = append(b.records, r), rest
	}
	if len(plain) > 0 {
		return body{}, fmt.Errorf("%d bytes behind the last of %d records: %w", len(plain), n, ErrMalformed)
	}
	return b, nil
}

func readRecord(b []byte) (record, rest []byte, err error) {
	if len(b) < lengthSize {
		return nil, nil, fmt.Errorf("no room for its length: %w", ErrMalformed)
	}
	n := binary.BigEndian.Uint32(b)
	b = b[lengthSize:]
	if n > events.MaxRecord {
		return nil, nil, fmt.Errorf("%d bytes, at most %d: %w", n, events.MaxRecord, ErrTooLarge)
	}
	if n == 0 || uint64(n) > uint64(len(b)) {
		return nil, nil, fmt.Errorf("%d bytes, where %d are left: %w", n, len(b), ErrMalformed)
	}
	return b[:n:n], b[n:], nil
}
