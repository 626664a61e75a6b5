package evidence

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"time"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// Options say where a store is.
type Options struct {
	Dir       string           // its own; it is made at the first Put
	FS        vfs.FS           // nil for the machine's disk
	LeastFree uint64           // bytes that stay free; zero does not look
	Now       func() time.Time // nil for the machine's clock
}

// Store is a folder of pieces. It holds nothing open, so several may be on one
// folder, also of several programs. Its methods may be called from several
// goroutines.
type Store struct {
	opt Options
	fs  vfs.FS
}

// New gives the store in a folder, which need not be there yet.
func New(o Options) *Store {
	s := &Store{opt: o, fs: o.FS}
	if s.fs == nil {
		s.fs = private{vfs.Default}
	}
	if s.opt.Now == nil {
		s.opt.Now = time.Now
	}
	return s
}

// Piece is what is known of bytes that are kept.
type Piece struct {
	Content events.Hash // SHA-256 of the bytes
	Size    int64       // bytes
	Type    string      // media type (RFC 6838), by what is in them; empty where it is none that Put takes
}

func (s *Store) path(folder string) string { return s.fs.PathJoin(s.opt.Dir, folder) }

func (s *Store) kept(h events.Hash) string { return s.fs.PathJoin(s.path("kept"), h.String()) }

// Put keeps what r gives. The same bytes again are kept once, and mend what is
// damaged of them. It fails with ErrTooLarge, ErrType, ErrFilm or ErrFull, and then
// keeps nothing.
func (s *Store) Put(r io.Reader) (p Piece, err error) {
	if err := s.put(r, &p); err != nil {
		return Piece{}, fmt.Errorf("keep a piece: %w", plain(err))
	}
	return p, nil
}

func (s *Store) put(r io.Reader, p *Piece) error {
	head := make([]byte, headSize)
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	head = head[:n]
	if p.Type = TypeOf(head); p.Type == "" && !isBoxes(head) {
		return ErrType
	}
	if err := errors.Join(s.sweep(), s.room(0)); err != nil {
		return err
	}
	sum := sha256.New()
	path, err := s.write(func(w io.Writer) error {
		into := io.MultiWriter(sum, w) // the file last: vfs.File may change what it is given to write
		if _, err := into.Write(head); err != nil {
			return err
		}
		rest, err := copyAtMost(into, r, MaxSize-int64(n))
		p.Size = int64(n) + rest
		return err
	})
	if err != nil {
		return err
	}
	p.Content = events.Hash(sum.Sum(nil))
	if p.Type == "" {
		if err := s.typeOfWritten(path, p); err != nil {
			return errors.Join(err, s.remove(path))
		}
	}
	if err := s.settleNew(path, "kept", p.Content.String()); err != nil {
		return err
	}
	return s.want(p.Content)
}

// typeOfWritten looks into a file whose beginning alone does not tell what it is.
func (s *Store) typeOfWritten(path string, p *Piece) error {
	f, err := s.fs.Open(path)
	if err != nil {
		return err
	}
	p.Type, err = soundOf(f, p.Size)
	return errors.Join(err, f.Close())
}

// copyAtMost copies up to a limit and refuses what goes on behind it.
func copyAtMost(w io.Writer, r io.Reader, most int64) (int64, error) {
	n, err := io.CopyBuffer(struct{ io.Writer }{w}, io.LimitReader(r, most+1), make([]byte, block))
	if err == nil && n > most {
		err = ErrTooLarge
	}
	return n, err
}

// Size is how many bytes a piece has that is here; ok is false where it is not.
func (s *Store) Size(h events.Hash) (size int64, ok bool, err error) {
	info, err := s.fs.Stat(s.kept(h))
	if err != nil && absent(err) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, fmt.Errorf("look for piece %s: %w", h.Short(), err)
	}
	return info.Size(), true, nil
}

// File is an open piece.
type File struct {
	Piece
	*io.SectionReader
	file vfs.File
}

// Size is how many bytes it has.
func (f *File) Size() int64 { return f.Piece.Size }

// Close closes it.
func (f *File) Close() error { return f.file.Close() }

// Open gives a piece after it was read whole and found to be what was kept. It
// fails with ErrNotHere or ErrDamaged.
func (s *Store) Open(h events.Hash) (*File, error) {
	f, err := s.open(h)
	if err != nil {
		return nil, fmt.Errorf("open piece %s: %w", h.Short(), err)
	}
	return f, nil
}

func (s *Store) open(h events.Hash) (*File, error) {
	file, err := s.fs.Open(s.kept(h))
	if err != nil && absent(err) {
		return nil, ErrNotHere
	}
	if err != nil {
		return nil, err
	}
	f := &File{Piece: Piece{Content: h}, file: file}
	if err := f.check(); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return f, nil
}

func (f *File) check() error {
	info, err := f.file.Stat()
	if err != nil {
		return err
	}
	f.Piece.Size = info.Size()
	f.SectionReader = io.NewSectionReader(f.file, 0, f.Piece.Size)
	head := make([]byte, min(headSize, f.Piece.Size))
	if _, err := f.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	switch t, err := typeIn(head, f.SectionReader, f.Piece.Size); {
	case err == nil:
		f.Type = t
	case !errors.Is(err, ErrType) && !errors.Is(err, ErrFilm):
		return err
	}
	sum := sha256.New()
	if _, err := io.CopyBuffer(struct{ io.Writer }{sum}, struct{ io.Reader }{f.SectionReader}, make([]byte, block)); err != nil {
		return err
	}
	if events.Hash(sum.Sum(nil)) != f.Content {
		return ErrDamaged
	}
	_, err = f.Seek(0, io.SeekStart)
	return err
}

// List calls fn with each piece that is here, in the order of their hashes, until
// it gives false. Their bytes are not looked at.
func (s *Store) List(fn func(h events.Hash, size int64) (bool, error)) error {
	list, err := s.names("kept")
	if err != nil {
		return fmt.Errorf("list the pieces: %w", err)
	}
	for _, name := range list {
		h, ok := hashOf(name)
		if !ok {
			continue
		}
		size, here, err := s.Size(h)
		if err != nil {
			return err
		}
		if !here {
			continue // it was dropped meanwhile
		}
		if more, err := fn(h, size); err != nil || !more {
			return err
		}
	}
	return nil
}

func hashOf(name string) (h events.Hash, ok bool) {
	b, err := hex.DecodeString(name)
	if err != nil || len(b) != len(h) {
		return h, false
	}
	return events.Hash(b), events.Hash(b).String() == name
}

// Scrubbed is what reading every piece found.
type Scrubbed struct {
	Pieces  int
	Bytes   int64
	Damaged []events.Hash
}

// Scrub reads every piece against its hash; told hears of each and may be nil. A
// damaged one stays where it is: keeping the same bytes again mends it, and Aside
// makes way for fetching them.
func (s *Store) Scrub(told func(done int)) (res Scrubbed, err error) {
	err = s.List(func(h events.Hash, size int64) (bool, error) {
		f, err := s.Open(h)
		switch {
		case err == nil:
			err = f.Close()
		case errors.Is(err, ErrDamaged):
			res.Damaged, err = append(res.Damaged, h), nil
		case errors.Is(err, ErrNotHere):
			return true, nil
		}
		res.Pieces, res.Bytes = res.Pieces+1, res.Bytes+size
		if told != nil {
			told(res.Pieces)
		}
		return err == nil, err
	})
	return res, err
}
