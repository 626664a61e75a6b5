package app

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"oldhand/events/wholefile"
)

// What is typed into a form and not saved lies in the folder drafts of the
// shop's folder, one file a form, readable by its owner only: a browser's own
// store would keep customers' names where nobody looks for them. A file goes
// when its form is saved or thrown away, and after unsentLife. It is in no export
// and in no bundle.

// unsentLife is how long what was typed is kept for somebody to come back to it.
const unsentLife = 14 * 24 * time.Hour

// Unsent is what was typed into a form and not saved.
type Unsent struct {
	Form   string              `json:"form"`
	About  string              `json:"about,omitempty"` // the unit
	Once   string              `json:"once"`            // the form's id; see Once
	Values map[string][]string `json:"values"`
	At     time.Time           `json:"at"`
}

func unsentDir(dir string) string { return filepath.Join(dir, "drafts") }

// unsentPath has nothing of what was typed in it.
func unsentPath(dir, form, about string) string {
	sum := sha256.Sum256([]byte(form + "\x00" + about))
	return filepath.Join(unsentDir(dir), hex.EncodeToString(sum[:12])+".json")
}

// KeepUnsent keeps what was typed into a form in the place of what was kept of it.
func (s *Shop) KeepUnsent(u Unsent) error {
	u.At = s.now()
	return KeepUnsentIn(s.Dir, u)
}

// KeepUnsentIn keeps it in a shop's folder that is not open: what is typed for a
// long while must not keep the folder from others.
func KeepUnsentIn(dir string, u Unsent) error {
	b, err := json.Marshal(u)
	if err == nil {
		err = os.MkdirAll(unsentDir(dir), 0o700)
	}
	if err == nil {
		err = wholefile.Write(unsentPath(dir, u.Form, u.About), append(b, '\n'))
	}
	if err != nil {
		return fmt.Errorf("keep what was typed: %w", err)
	}
	return nil
}

// UnsentOf is what was typed into a form and not saved; nil where nothing was, or
// where it was saved after all.
func (s *Shop) UnsentOf(form, about string) (*Unsent, error) {
	b, err := os.ReadFile(unsentPath(s.Dir, form, about))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var u Unsent
	if err == nil {
		err = json.Unmarshal(b, &u)
	}
	if err != nil {
		return nil, fmt.Errorf("read what was typed: %w", err)
	}
	if u.Form != form || u.About != about || s.now().Sub(u.At) > unsentLife {
		return nil, nil
	}
	if was, err := s.WasSent(u.Once); err != nil || was {
		return nil, err
	}
	return &u, nil
}

// DropUnsent throws away what was typed into a form.
func (s *Shop) DropUnsent(form, about string) error {
	err := os.Remove(unsentPath(s.Dir, form, about))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// Tidy throws away what was typed long ago and never saved, and what is
// remembered of forms that nobody sends any more.
func (s *Shop) Tidy() error {
	entries, err := os.ReadDir(unsentDir(s.Dir))
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	errs := []error{err, s.forgetSendings()}
	for _, e := range entries {
		info, err := e.Info()
		if err == nil && s.now().Sub(info.ModTime()) > unsentLife {
			err = os.Remove(filepath.Join(unsentDir(s.Dir), e.Name()))
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}
