package app

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"oldhand/cmd/internal/backup"
	"oldhand/events/eventlog"
)

// Restored says what a backup was made into, or what trying it out found.
type Restored struct {
	Folder string `json:"folder,omitempty"`
	backup.Card
	Proven Verified `json:"proven"`
	Lost   string   `json:"lost,omitempty"` // what this machine remembers that the bench saved after the backup
}

// CheckBackup tries a backup out: it is unpacked in a passing folder beside it,
// every chain, all that follows from it and every photo is read, and how far it
// goes is compared with its card. The folder it was made of is not needed.
func CheckBackup(path, passphrase string, told func(done, of int64)) (r Restored, err error) {
	scratch, err := os.MkdirTemp(filepath.Dir(path), scratchPrefix+"*")
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	dir := filepath.Join(scratch, "tried")
	if r.Card, err = unpack(path, dir, passphrase, told); err != nil {
		return r, err
	}
	r.Proven, err = proven(dir, scratch, r.Card, nil)
	return r, err
}

// Drilled is what making a bench of a backup, in a passing folder, came to.
type Drilled struct {
	Restored
	Agrees bool   `json:"agrees"`        // all that it holds stands the same in this folder
	Since  uint64 `json:"since"`         // events that came here after it
	Was    string `json:"was,omitempty"` // its digest when it was tried out before
}

// At is when the backup was made, in the words of a page.
func (d Drilled) At() string { return shownTime(d.Made) }

// Drill makes a bench of a backup in a passing folder beside the file, reads all of
// it and holds every run in it beside this folder's: what is in the backup must be
// here as well, event for event. What came of it is remembered.
func (s *Shop) Drill(path, passphrase string, told func(done, of int64)) (d Drilled, err error) {
	scratch, err := os.MkdirTemp(filepath.Dir(path), scratchPrefix+"*")
	if err != nil {
		return d, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	dir := filepath.Join(scratch, "tried")
	if d.Card, err = unpack(path, dir, passphrase, told); err != nil {
		return d, err
	}
	if d.Shop != s.Card.Shop || d.Bench != s.Card.Bench {
		return d, fmt.Errorf("backup %s: it is of bench %s of %s, and this is bench %s of %s", path, d.Bench, d.Name, s.Card.Bench, s.Card.Name)
	}
	d.Proven, err = proven(dir, scratch, d.Card, func(made *Shop) (err error) {
		d.Agrees, err = s.holds(made)
		return err
	})
	if err != nil {
		return d, fmt.Errorf("backup %s: %w", path, err)
	}
	if here := uint64(s.eventsHere()); here > d.Events {
		d.Since = here - d.Events
	}
	b := s.Backups()
	for _, l := range []*LastBackup{b.Last, b.Proven} {
		if l != nil && l.At == d.Made {
			d.Was = l.Digest
		}
	}
	return d, NoteChecked(s.Dir, d.Restored, path, s.now())
}

// holds reports whether all that another folder has is here, by the heads of its
// runs: a head's hash stands for all before it.
func (s *Shop) holds(other *Shop) (all bool, err error) {
	all = true
	err = s.view(func(v *eventlog.View) error {
		for _, h := range other.Log.Branches() {
			_, here, err := v.Find(h.Head)
			if err != nil {
				return err
			}
			all = all && here
		}
		return nil
	})
	return all, err
}

// RestoreBackup makes a folder that is empty or not there out of a backup. What
// this bench recorded after the backup, and gave to others, comes back from them.
func RestoreBackup(path, dir, passphrase string, o Options, told func(done, of int64)) (r Restored, err error) {
	if err := mustBeFree(dir); err != nil {
		return r, err
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, os.ErrNotExist) { // an empty one: the whole one takes its place
		return r, err
	}
	r.Folder = dir
	if r.Card, err = unpack(path, dir, passphrase, told); err != nil {
		return r, err
	}
	s, err := Open(dir, o)
	if err != nil {
		return r, fmt.Errorf("the backup is unpacked in %s: %w", dir, err)
	}
	if lost := s.Log.Found().LostTail; lost != nil {
		r.Lost = fmt.Sprintf("this bench saved %d events before and has %d of them", lost.Had, lost.Have)
	}
	r.Proven, err = s.Verify(nil)
	if err == nil {
		err = s.view(func(v *eventlog.View) error { return asFar(v, r.Card) })
	}
	return r, errors.Join(err, s.Close())
}

func unpack(path, dir, passphrase string, told func(done, of int64)) (c backup.Card, err error) {
	f, err := os.Open(path)
	if err != nil {
		return c, err
	}
	defer f.Close()
	if c, err = backup.Unpack(f, dir, passphrase, told); err != nil {
		return c, fmt.Errorf("backup %s: %w", path, err)
	}
	return c, nil
}

// proveFile unpacks a backup and reads it whole.
func proveFile(path, dir, passphrase string, c backup.Card) (v Verified, err error) {
	if _, err := unpack(path, dir, passphrase, nil); err != nil {
		return v, err
	}
	return proven(dir, filepath.Dir(dir), c, nil)
}

// proven reads an unpacked folder whole and compares it with its card. It is
// opened with a witness of its own: the machine may know the bench from its work.
// Also, where given, looks into it while it is open.
func proven(dir, state string, c backup.Card, also func(*Shop) error) (v Verified, err error) {
	s, err := Open(dir, Options{State: state})
	if err != nil {
		return v, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if v, err = s.Verify(nil); err != nil {
		return v, err
	}
	if !v.OK {
		return v, errors.New(v.Wrong)
	}
	if err = s.view(func(view *eventlog.View) error { return asFar(view, c) }); err == nil && also != nil {
		err = also(s)
	}
	return v, err
}

// asFar compares how far the feeds go with what a backup's card says.
func asFar(v *eventlog.View, c backup.Card) error {
	heads, err := headsOf(v)
	if err == nil && heads != c.Heads {
		err = fmt.Errorf("its feeds go to heads %.16s and its card says %.16s", heads, c.Heads)
	}
	return err
}
