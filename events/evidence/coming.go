package evidence

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2/vfs"
)

func (s *Store) part(h events.Hash) string {
	return s.fs.PathJoin(s.path("coming"), h.String()+".part")
}

// Fetching holds the folder for who fetches pieces into it: two that wrote the
// same piece at once could change one that is kept already.
type Fetching struct {
	s    *Store
	lock io.Closer
}

// Fetch begins to fetch. It fails with ErrBusy while another program does.
func (s *Store) Fetch() (*Fetching, error) {
	dir, err := s.folder("coming")
	if err != nil {
		return nil, fmt.Errorf("fetch pieces: %w", plain(err))
	}
	lock, err := s.fs.Lock(s.fs.PathJoin(dir, "lock"))
	if err != nil {
		return nil, fmt.Errorf("fetch pieces: %w: %w", ErrBusy, err)
	}
	return &Fetching{s, lock}, nil
}

// Close ends the fetching.
func (f *Fetching) Close() error { return f.lock.Close() }

// Coming is a piece of which some bytes are here. It is on one goroutine.
type Coming struct {
	s    *Store
	hash events.Hash
	size int64
	have int64
	file vfs.File
}

// Piece goes on with a piece of known hash and size where fetching it stopped: at
// a whole number of steps of bytes, at which it was written.
func (f *Fetching) Piece(h events.Hash, size, step int64) (*Coming, error) {
	c, err := f.piece(h, size, step)
	if err != nil {
		return nil, fmt.Errorf("fetch piece %s: %w", h.Short(), plain(err))
	}
	return c, nil
}

func (f *Fetching) piece(h events.Hash, size, step int64) (*Coming, error) {
	if size <= 0 || size > MaxSize {
		return nil, fmt.Errorf("%d bytes: %w", size, ErrTooLarge)
	}
	s := f.s
	c := &Coming{s: s, hash: h, size: size}
	if info, err := s.fs.Stat(s.part(h)); err == nil {
		c.have = min(info.Size()/step*step, size)
	}
	if err := s.room(size - c.have); err != nil {
		return nil, err
	}
	var err error
	if c.have > 0 {
		c.file, err = s.fs.OpenReadWrite(s.part(h), what)
	} else {
		c.file, err = s.fs.Create(s.part(h), what)
	}
	if err != nil {
		return nil, err
	}
	return c, nil
}

// Have is how many bytes are here.
func (c *Coming) Have() int64 { return c.have }

// Add adds what comes next.
func (c *Coming) Add(b []byte) error {
	if c.have+int64(len(b)) > c.size {
		return fmt.Errorf("fetch piece %s: %w: it goes on behind its %d bytes", c.hash.Short(), ErrDamaged, c.size)
	}
	// A copy, as vfs.File may change what it is given to write.
	if _, err := c.file.WriteAt(bytes.Clone(b), c.have); err != nil {
		return fmt.Errorf("fetch piece %s: %w", c.hash.Short(), plain(err))
	}
	c.have += int64(len(b))
	return nil
}

// Keep keeps the piece, if its bytes have the hash that it was asked by. Where
// they have not it fails with ErrDamaged and forgets them, and the piece is
// fetched anew the next time.
func (c *Coming) Keep() error {
	err := c.check()
	if err == nil {
		err = c.s.settle(c.s.part(c.hash), "kept", c.hash.String())
	} else if errors.Is(err, ErrDamaged) {
		err = errors.Join(err, c.s.remove(c.s.part(c.hash)))
	}
	if err != nil {
		return fmt.Errorf("keep piece %s: %w", c.hash.Short(), plain(err))
	}
	return nil
}

func (c *Coming) check() error {
	if c.have != c.size {
		return fmt.Errorf("%d of %d bytes are here", c.have, c.size)
	}
	if err := c.file.Sync(); err != nil {
		return err
	}
	sum := sha256.New()
	if _, err := io.CopyBuffer(struct{ io.Writer }{sum}, io.NewSectionReader(c.file, 0, c.size), make([]byte, block)); err != nil {
		return err
	}
	if events.Hash(sum.Sum(nil)) != c.hash {
		return ErrDamaged
	}
	return nil
}

// Close ends it. What is here of a piece that was not kept stays for the next time.
func (c *Coming) Close() error { return c.file.Close() }
