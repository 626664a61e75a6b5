package evidence

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"oldhand/events"
)

// Drop takes a piece and all that was made of it away from this bench, and
// remembers that it is not wanted, so that it is not fetched again. Putting it
// again makes it wanted.
func (s *Store) Drop(h events.Hash) error {
	if err := s.drop(h); err != nil {
		return fmt.Errorf("drop piece %s: %w", h.Short(), plain(err))
	}
	return nil
}

// drop says first that it is not wanted: what a crash interrupts is then at worst
// a piece that is still here.
func (s *Store) drop(h events.Hash) error {
	path, err := s.write(func(io.Writer) error { return nil })
	if err == nil {
		err = s.settleNew(path, "dropped", h.String())
	}
	if err == nil {
		err = s.remove(s.kept(h))
	}
	if err != nil {
		return err
	}
	if _, err := s.fs.Stat(s.path("kept")); err == nil {
		if err := s.syncFolder(s.path("kept")); err != nil {
			return err
		}
	}
	return errors.Join(s.dropViews(h), s.remove(s.part(h)))
}

// Dropped reports whether a piece is not wanted at this bench.
func (s *Store) Dropped(h events.Hash) (bool, error) {
	_, err := s.fs.Stat(s.fs.PathJoin(s.path("dropped"), h.String()))
	if err != nil && absent(err) {
		return false, nil
	}
	return err == nil, err
}

// want takes back that a piece is not wanted.
func (s *Store) want(h events.Hash) error {
	if dropped, err := s.Dropped(h); err != nil || !dropped {
		return err
	}
	if err := s.remove(s.fs.PathJoin(s.path("dropped"), h.String())); err != nil {
		return err
	}
	return s.syncFolder(s.path("dropped"))
}

// Aside takes a damaged piece out of the way, so that it can be fetched again. A
// piece that is sound stays.
func (s *Store) Aside(h events.Hash) error {
	f, err := s.Open(h)
	if err == nil {
		return f.Close()
	}
	if !errors.Is(err, ErrDamaged) {
		return err
	}
	if err := s.settle(s.kept(h), "damaged", h.String()); err != nil {
		return fmt.Errorf("put piece %s aside: %w", h.Short(), plain(err))
	}
	return s.dropViews(h)
}

func (s *Store) dropViews(h events.Hash) error {
	list, err := s.names("views")
	for _, name := range list {
		if strings.HasPrefix(name, h.String()+".") {
			err = errors.Join(err, s.remove(s.fs.PathJoin(s.path("views"), name)))
		}
	}
	return err
}
