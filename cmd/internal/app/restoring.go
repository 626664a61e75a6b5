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
	r.Proven, err = proven(dir, scratch, r.Card)
	return r, err
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
	return proven(dir, filepath.Dir(dir), c)
}

// proven reads an unpacked folder whole and compares it with its card. It is
// opened with a witness of its own: the machine may know the bench from its work.
func proven(dir, state string, c backup.Card) (v Verified, err error) {
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
	return v, s.view(func(view *eventlog.View) error { return asFar(view, c) })
}

// asFar compares how far the feeds go with what a backup's card says.
func asFar(v *eventlog.View, c backup.Card) error {
	heads, err := headsOf(v)
	if err == nil && heads != c.Heads {
		err = fmt.Errorf("its feeds go to heads %.16s and its card says %.16s", heads, c.Heads)
	}
	return err
}
