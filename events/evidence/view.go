package evidence

import (
	"errors"
	"fmt"
	"io"

	"oldhand/events"
)

// View gives what is shown of a piece under a name such as "view.jpg". Where it
// was not made yet it is made of the open piece and kept, if the disk has room
// for it: without room it is made each time. Name is a file name's end.
func (s *Store) View(h events.Hash, name string, create func(*File) ([]byte, error)) ([]byte, error) {
	if _, here, err := s.Size(h); err != nil || !here {
		return nil, errors.Join(err, fmt.Errorf("show piece %s: %w", h.Short(), ErrNotHere))
	}
	path := s.fs.PathJoin(s.path("views"), h.String()+"."+name)
	if b, err := s.readAll(path); err == nil && len(b) > 0 {
		return b, nil
	}
	f, err := s.Open(h)
	if err != nil {
		return nil, err
	}
	b, err := create(f)
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, fmt.Errorf("make %s of piece %s: %w", name, h.Short(), err)
	}
	_ = s.keepView(h, name, b) // it can be made again
	return b, nil
}

func (s *Store) keepView(h events.Hash, name string, b []byte) error {
	if err := s.room(int64(len(b))); err != nil {
		return err
	}
	path, err := s.write(func(w io.Writer) error { _, err := w.Write(b); return err })
	if err != nil {
		return err
	}
	return s.settleNew(path, "views", h.String()+"."+name)
}

func (s *Store) readAll(path string) ([]byte, error) {
	f, err := s.fs.Open(path)
	if err != nil {
		return nil, err
	}
	b, err := io.ReadAll(f)
	return b, errors.Join(err, f.Close())
}
