package evidence

import (
	"fmt"
	"io"
)

// Note keeps a few bytes beside the pieces that help to find them and can be made
// anew, such as what is known of another place. Name is a file's.
func (s *Store) Note(name string, b []byte) error {
	path, err := s.write(func(w io.Writer) error { _, err := w.Write(b); return err })
	if err == nil {
		err = s.settleNew(path, "notes", name)
	}
	if err != nil {
		return fmt.Errorf("note %s beside the pieces: %w", name, plain(err))
	}
	return nil
}

// Noted gives what was noted last under a name; nothing where nothing was.
func (s *Store) Noted(name string) ([]byte, error) {
	b, err := s.readAll(s.fs.PathJoin(s.path("notes"), name))
	if err != nil && absent(err) {
		return nil, nil
	}
	return b, err
}
