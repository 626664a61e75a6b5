package bundle

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/sync/chunk"
	"oldhand/sync/segment"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// photosMagic begins a file of photos and recordings.
const photosMagic = "oldhpho"

// PhotosEnding is what is put behind a bundle's name to name the file of photos and
// recordings that goes with it.
const PhotosEnding = ".photos"

// MaxPhotos is how many bytes such a file has at most: the file systems of most sticks
// hold no file of 4 GiB.
const MaxPhotos = 4<<30 - 1

// ErrPhotosFull is returned where a chunk would pass MaxPhotos.
var ErrPhotosFull = errors.New("the file of photos and recordings is full")

// IsPhotos reports whether a file that begins with head is one of photos and recordings.
func IsPhotos(head []byte) bool { return bytes.HasPrefix(head, []byte(photosMagic)) }

// Photos writes a file of photos and recordings, chunk after chunk. After an error it
// writes nothing more.
type Photos struct {
	w    Writer
	size int64
}

// WritePhotos writes such a file as WriteFile writes a bundle. Fill adds the chunks, a
// piece's from its first on and one piece's after the other's.
func WritePhotos(path string, shop events.ShopID, random io.Reader, fill func(*Photos) error) error {
	return writeWhole(vfs.Default, path, random, func(to io.Writer) error {
		p := &Photos{w: Writer{out: bufio.NewWriterSize(to, bufferSize), shop: shop, hash: sha256.New()}, size: int64(fileHead)}
		p.w.write(fileHeadOf(photos, shop, photos.newest))
		if err := fill(p); err != nil {
			return err
		}
		return p.w.Close()
	})
}

// frameSize is how many bytes of a file a payload takes.
func frameSize(payload int) int64 { return int64(frameHead + payload + sumSize) }

// Room reports whether a piece of so many bytes goes in whole.
func (p *Photos) Room(size int64) bool {
	chunks := int64(chunk.Count(size))
	return p.size+chunks*frameSize(chunk.MaxSealed)+frameSize(endSize) <= MaxPhotos
}

// Add writes a sealed chunk of a piece of the shop.
func (p *Photos) Add(sealed []byte) error {
	at, err := chunk.ReadPlace(sealed)
	switch {
	case err != nil:
	case at.Shop != segment.TagOf(p.w.shop):
		err = ErrOtherShop
	case p.size+frameSize(len(sealed))+frameSize(endSize) > MaxPhotos:
		err = ErrPhotosFull
	}
	if err == nil {
		p.w.frame(chunkFrame, sealed)
		p.size += frameSize(len(sealed))
		p.w.segments++
		err = p.w.err
	}
	if err != nil {
		return fmt.Errorf("add a chunk to a file of photos and recordings: %w", err)
	}
	return nil
}

// PhotosReport says what a file of photos and recordings gave.
type PhotosReport struct {
	Chunks  int   // whole ones, given
	Damaged int   // frames that were stepped over
	Stopped error // where and why reading stopped before the end; nil where it did not
}

// Err is nil where the file was whole, and else says what is wrong with it.
func (r PhotosReport) Err() error { return Report{Damaged: r.Damaged, Stopped: r.Stopped}.Err() }

// ReadPhotos gives every whole chunk of a file to fn, in the file's order. The bytes are
// good until fn returns, and nothing is said of them yet: chunk.Open is for that.
// Errors are those of Read.
func ReadPhotos(r io.Reader, shop events.ShopID, fn func(sealed []byte) error) (rep PhotosReport, err error) {
	f, err := openFrames(photos, bufio.NewReaderSize(r, 1<<16), shop)
	if err != nil {
		return rep, fmt.Errorf("read a file of photos and recordings: %w", err)
	}
	rep.Stopped, err = rep.read(f, fn)
	if rep.Stopped != nil {
		rep.Stopped = fmt.Errorf("after %d chunks, at byte %d: %w", rep.Chunks, f.start, rep.Stopped)
	}
	return rep, err
}

func (r *PhotosReport) read(f *frames, fn func([]byte) error) (stopped, err error) {
	for {
		fr, err := f.next()
		switch {
		case err != nil:
			return err, nil
		case fr.kind == endFrame:
			return f.end(fr, r.Chunks+r.Damaged, r.Damaged), nil
		case !fr.whole:
			r.Damaged++
			continue
		}
		r.Chunks++
		if err := fn(fr.payload); err != nil {
			return nil, err
		}
	}
}
