package seal

import (
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// Packing keeps tables of about a megabyte, so packers are used again. One
// goroutine works on one piece: pieces are small, and the counter page needs
// the other core.

var packers = sync.Pool{New: func() any {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(false),
		zstd.WithWindowSize(MaxSealed), zstd.WithLowerEncoderMem(true))
	if err != nil {
		panic(err) // the options are constants of this file
	}
	return e
}}

var unpackers = sync.Pool{New: func() any {
	d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(MaxSealed),
		zstd.WithDecoderMaxWindow(MaxSealed), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		panic(err) // the options are constants of this file
	}
	return d
}}

// pack appends the packed bytes of plain. There is no checksum in them: the
// seal is one.
func pack(b, plain []byte) []byte {
	e := packers.Get().(*zstd.Encoder)
	defer packers.Put(e)
	return e.EncodeAll(plain, b)
}

// unpack gives the size bytes that were packed. It takes memory for these and
// at most one block of zstd more, 128 KiB.
func unpack(packed []byte, size int) ([]byte, error) {
	d := unpackers.Get().(*zstd.Decoder)
	defer unpackers.Put(d)
	plain, err := d.DecodeAll(packed, make([]byte, 0, size))
	if err != nil {
		return nil, fmt.Errorf("unpack %d bytes: %w: %w", size, ErrMalformed, err)
	}
	if len(plain) != size {
		return nil, fmt.Errorf("unpacked %d bytes, the content says %d: %w", len(plain), size, ErrMalformed)
	}
	return plain, nil
}
