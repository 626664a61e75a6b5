// Package wholefile writes small files that are there whole or not at all: keys,
// a folder's card, a certificate, an export.
//
// What is written goes into a file beside, under a name of its own, which is
// synced and then renamed. The folder is synced after that: a name is in the
// folder's own data, so without it a file that was said to be written can be
// gone, or be the one from before, when the machine loses power.
//
// The log has its own files and its own rules (events/eventlog), and a bundle
// writes on a stick's file system (sync/bundle).
package wholefile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// Write writes a file, readable by its owner only, in place of what was there.
func Write(path string, b []byte) error {
	return WriteFrom(path, func(w io.Writer) error {
		_, err := w.Write(b)
		return err
	})
}

// WriteFrom writes what fill writes. With an error the path has what it had
// before, but where the error says that it is written.
func WriteFrom(path string, fill func(io.Writer) error) error {
	return writeFrom(machine{}, path, fill)
}

// disk is what is needed of a file system.
type disk interface {
	create(dir string) (name string, f file, err error) // a file of a fresh name, for its owner only
	rename(from, to string) error
	remove(name string) error
	syncFolder(dir string) error
}

type file interface {
	io.WriteCloser
	Sync() error
}

func writeFrom(d disk, path string, fill func(io.Writer) error) error {
	dir := filepath.Dir(path)
	beside, f, err := d.create(dir)
	if err != nil {
		return err
	}
	if err = fill(f); err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = d.rename(beside, path)
	}
	if err != nil {
		return errors.Join(err, d.remove(beside))
	}
	if err := d.syncFolder(dir); err != nil {
		return fmt.Errorf("%s is written, but may be gone if the power fails: %w", path, err)
	}
	return nil
}

// machine is the machine's own disk.
type machine struct{}

func (machine) create(dir string) (string, file, error) {
	f, err := os.CreateTemp(dir, ".part-*") // 0600
	if err != nil {
		return "", nil, err
	}
	return f.Name(), f, nil
}

func (machine) rename(from, to string) error { return os.Rename(from, to) }
func (machine) remove(name string) error     { return os.Remove(name) }

// syncFolder goes by the store engine's file system, which knows where a folder
// can't be synced and need not be.
func (machine) syncFolder(dir string) error {
	d, err := vfs.Default.OpenDir(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, errors.ErrUnsupported) {
		err = nil // this file system has no such thing, as on some sticks
	}
	return errors.Join(err, d.Close())
}
