package evidence

import (
	"encoding/binary"
	"errors"
	"io"
)

// A telephone's recording comes in the same file as its films: boxes in boxes
// (ISO/IEC 14496-12). The brand in the first box says which programs can read it and
// not what it holds, so that the tracks are looked at: each has a handler (8.4.3),
// which says whether it is sound or picture. Boxes are passed over by their headers;
// what they hold is never read, and never more headers than a recording has.

// mostBoxes is how many headers are looked at. A recording has some thirty; one that
// is written piece by piece has two more for each second.
const mostBoxes = 50_000

// errNoBoxes is what is wrong with a file that breaks the rules of boxes.
var errNoBoxes = errors.New("its boxes are not those of ISO/IEC 14496-12")

// isBoxes reports whether a file begins as one of boxes does (4.3).
func isBoxes(head []byte) bool { return len(head) >= 16 && string(head[4:8]) == "ftyp" }

// tracks counts the tracks of a file by what they are.
type tracks struct{ sounds, pictures, others int }

// boxReader goes through the boxes of a file.
type boxReader struct {
	r     io.ReaderAt
	boxes int
	found tracks
}

// tracksOf counts the tracks of a file of boxes.
func tracksOf(r io.ReaderAt, size int64) (tracks, error) {
	b := boxReader{r: r}
	err := b.walk(0, size, true, map[string]func(from, to int64) error{"moov": b.movie})
	return b.found, err
}

// movie goes through the box that says what the tracks are (8.2.1, 8.3.1).
func (b *boxReader) movie(from, to int64) error {
	return b.walk(from, to, false, map[string]func(from, to int64) error{"trak": func(from, to int64) error {
		return b.walk(from, to, false, map[string]func(from, to int64) error{"mdia": func(from, to int64) error {
			return b.walk(from, to, false, map[string]func(from, to int64) error{"hdlr": b.handler})
		}})
	}})
}

// handler reads of what a track is: behind the version and the flags, and four bytes
// that were meant for something once.
func (b *boxReader) handler(from, to int64) error {
	if to-from < 12 {
		return errNoBoxes
	}
	var head [12]byte
	if _, err := b.r.ReadAt(head[:], from); err != nil {
		return err
	}
	switch string(head[8:]) {
	case "soun":
		b.found.sounds++
	case "vide", "auxv", "pict":
		b.found.pictures++
	case "meta", "hint", "text", "sbtl", "subt", "clcp", "tmcd": // words and times beside it
	default:
		b.found.others++
	}
	return nil
}

// walk goes from box to box and into those that are known. At the top the last box may
// say that it goes on to the file's end, or beyond it where the end is lost.
func (b *boxReader) walk(from, to int64, top bool, known map[string]func(from, to int64) error) error {
	for at := from; at < to; {
		if b.boxes++; b.boxes > mostBoxes {
			return errNoBoxes
		}
		kind, inside, end, err := b.header(at, to, top)
		if err != nil {
			return err
		}
		if into := known[kind]; into != nil {
			if end > to {
				return errNoBoxes
			}
			if err := into(inside, end); err != nil {
				return err
			}
		}
		at = end
	}
	return nil
}

// header reads what kind of box begins at a place, where its inside begins, and where
// it ends (4.2).
func (b *boxReader) header(at, to int64, top bool) (kind string, inside, end int64, err error) {
	var head [16]byte
	n := min(int64(len(head)), to-at)
	if n < 8 {
		return "", 0, 0, errNoBoxes
	}
	if _, err := b.r.ReadAt(head[:n], at); err != nil {
		return "", 0, 0, err
	}
	size, header := int64(binary.BigEndian.Uint32(head[:])), int64(8)
	switch {
	case size == 0 && top:
		size = to - at
	case size == 1 && n == 16:
		size, header = int64(binary.BigEndian.Uint64(head[8:])), 16
	}
	if size < header || size > 1<<40 || !top && size > to-at {
		return "", 0, 0, errNoBoxes
	}
	return string(head[4:8]), at + header, at + size, nil
}

// soundOf is the media type of a file of boxes that is sound and nothing else. A film
// is ErrFilm, and what is neither is ErrType.
func soundOf(r io.ReaderAt, size int64) (string, error) {
	found, err := tracksOf(r, size)
	switch {
	case found.pictures > 0:
		return "", ErrFilm
	case errors.Is(err, errNoBoxes) || errors.Is(err, io.EOF) || err == nil && (found.sounds == 0 || found.others > 0):
		return "", ErrType
	case err != nil:
		return "", err
	}
	return "audio/mp4", nil
}
