package bundle

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"

	"oldhand/events"
	"oldhand/sync/chunk"
	"oldhand/sync/keyring"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

// The file's head and the heads of frames. They are part of the format for
// ever.
const (
	magic     = "oldhbun"
	plain     = 1 // version of a bundle without keys
	withKeys  = 2 // and of one that may have them
	sumSize   = 4
	tagSize   = len(segment.Tag{})
	fileHead  = len(magic) + 1 + tagSize + sumSize
	frameHead = 1 + 4 + 4 + sumSize
	endSize   = 8 + sha256.Size
)

// kind is what a frame holds.
type kind byte

const (
	headsFrame   kind = 'H'
	chunkFrame   kind = 'C' // in a file of photos and recordings only
	segmentFrame kind = 'S'
	keyFrame     kind = 'K'
	endFrame     kind = 'E'
)

// sort is a sort of file that is made of frames.
type sort struct {
	magic  string
	newest byte // version that this program reads
}

var (
	bundles = sort{magic, withKeys}
	photos  = sort{photosMagic, 1}
)

// check refuses a length that no frame of the kind has, before memory is taken
// for it.
func (k kind) check(of sort, version byte, length uint32) error {
	least, most := 1, seal.MaxSealed
	switch {
	case k == chunkFrame && of == photos:
		most = chunk.MaxSealed
	case of == photos && k != endFrame:
		return fmt.Errorf("frame of kind %q: %w", byte(k), ErrDamaged)
	case k == headsFrame, k == segmentFrame:
	case k == keyFrame && version >= withKeys:
		most = keyring.MaxSize
	case k == endFrame:
		least, most = endSize, endSize
	default:
		return fmt.Errorf("frame of kind %q: %w", byte(k), ErrDamaged)
	}
	if int64(length) < int64(least) || int64(length) > int64(most) {
		return fmt.Errorf("frame %q of %d bytes, from %d to %d: %w", byte(k), length, least, most, ErrDamaged)
	}
	return nil
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func appendSum(b, of []byte) []byte {
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(of, castagnoli))
}

// splitSum takes the sum off the end of b and says whether it holds.
func splitSum(b []byte) (rest []byte, ok bool) {
	n := len(b) - sumSize
	return b[:n], crc32.Checksum(b[:n], castagnoli) == binary.BigEndian.Uint32(b[n:])
}

func fileHeadOf(of sort, shop events.ShopID, version byte) []byte {
	tag := segment.TagOf(shop)
	b := append(append([]byte(of.magic), version), tag[:]...)
	return appendSum(b, b)
}

// checkFileHead says what a file is that begins with these bytes: all of a
// head, or all there is of the file.
func checkFileHead(of sort, b []byte, shop events.ShopID) error {
	n := min(len(b), len(magic))
	switch {
	case n == 0:
		return fmt.Errorf("the file is empty: %w", ErrNotBundle)
	case string(b[:n]) != of.magic[:n]:
		return ErrNotBundle
	case len(b) <= len(magic):
		return ErrCut
	case b[n] > of.newest:
		return fmt.Errorf("version %d, this program reads %d: %w", b[n], of.newest, ErrNewer)
	case b[n] < plain:
		return fmt.Errorf("version %d: %w", b[n], ErrNotBundle)
	case len(b) < fileHead:
		return ErrCut
	}
	head, ok := splitSum(b)
	if !ok {
		return fmt.Errorf("head of the file: %w", ErrDamaged)
	}
	if segment.Tag(head[len(magic)+1:]) != segment.TagOf(shop) {
		return ErrOtherShop
	}
	return nil
}

func frameHeadOf(k kind, number uint32, length int) []byte {
	b := binary.BigEndian.AppendUint32([]byte{byte(k)}, number)
	b = binary.BigEndian.AppendUint32(b, uint32(length))
	return appendSum(b, b)
}

// frame is a frame as it was read. Its payload is good until the next is read.
type frame struct {
	kind    kind
	payload []byte
	whole   bool // the payload's sum holds
}

// frames reads a file frame by frame.
type frames struct {
	in      io.Reader
	of      sort
	version byte
	start   int64 // of the frame read last
	offset  int64
	number  uint32
	hash    hash.Hash
	before  [sha256.Size]byte // hash of all bytes before the frame read last, if it is the end
	buf     []byte
}

// openFrames reads a file's head.
func openFrames(of sort, in io.Reader, shop events.ShopID) (*frames, error) {
	f := &frames{in: in, of: of, hash: sha256.New()}
	head := make([]byte, fileHead)
	n, err := io.ReadFull(in, head)
	if err != nil && !atEnd(err) {
		return nil, err
	}
	if err := checkFileHead(of, head[:n], shop); err != nil {
		return nil, err
	}
	f.hash.Write(head)
	f.version, f.offset = head[len(magic)], int64(n)
	return f, nil
}

// next reads a frame. An error says that nothing behind it can be read.
func (f *frames) next() (fr frame, err error) {
	f.start = f.offset
	head, err := f.take(frameHead)
	if err != nil {
		return fr, err
	}
	b, ok := splitSum(head)
	if !ok {
		return fr, fmt.Errorf("head of frame %d: %w", f.number, ErrDamaged)
	}
	number, length := binary.BigEndian.Uint32(b[1:]), binary.BigEndian.Uint32(b[5:])
	if number != f.number {
		return fr, fmt.Errorf("frame %d stands where %d should: %w", number, f.number, ErrDamaged)
	}
	fr.kind = kind(b[0])
	if err := fr.kind.check(f.of, f.version, length); err != nil {
		return fr, err
	}
	if fr.kind == endFrame {
		f.hash.Sum(f.before[:0])
	}
	f.hash.Write(head)
	payload, err := f.take(int(length) + sumSize)
	if err != nil {
		return fr, err
	}
	f.hash.Write(payload)
	f.number++
	fr.payload, fr.whole = splitSum(payload)
	return fr, nil
}

// take reads n bytes, which stay until the next are taken.
func (f *frames) take(n int) ([]byte, error) {
	if cap(f.buf) < n {
		f.buf = make([]byte, n)
	}
	got, err := io.ReadFull(f.in, f.buf[:n])
	f.offset += int64(got)
	if atEnd(err) {
		err = ErrCut
	}
	return f.buf[:n], err
}

// end says whether the file ends as its end says, after so many segments, and
// whether nothing follows.
func (f *frames) end(fr frame, segments, damaged int) error {
	if !fr.whole {
		return fmt.Errorf("end of the file: %w", ErrDamaged)
	}
	if n := binary.BigEndian.Uint64(fr.payload); n != uint64(segments) {
		return fmt.Errorf("%d parts, the end says %d: %w", segments, n, ErrDamaged)
	}
	if damaged == 0 && [sha256.Size]byte(fr.payload[8:]) != f.before {
		return fmt.Errorf("hash over the whole file: %w", ErrDamaged)
	}
	switch _, err := f.take(1); {
	case err == nil:
		return fmt.Errorf("the file goes on behind its end: %w", ErrDamaged)
	case !errors.Is(err, ErrCut):
		return err
	}
	return nil
}

func atEnd(err error) bool { return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) }
