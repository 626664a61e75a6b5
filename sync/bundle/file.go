package bundle

import (
	"errors"
	"fmt"
	"io"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// WriteFile writes a bundle to a file. Fill adds the segments. The bundle is
// written beside under a name of its own, synced and renamed, so at every moment
// the path has the old file or the new one whole, or none where there was none.
func WriteFile(path string, o Options, fill func(*Writer) error) error {
	return writeFile(vfs.Default, path, o, fill)
}

func writeFile(fs vfs.FS, path string, o Options, fill func(*Writer) error) error {
	return writeWhole(fs, path, o.Random, func(to io.Writer) error {
		w, err := NewWriter(to, o)
		if err == nil {
			err = fill(w)
		}
		if err == nil {
			err = w.Close()
		}
		return err
	})
}

// writeWhole writes a file of any sort.
func writeWhole(fs vfs.FS, path string, draw io.Reader, fill func(io.Writer) error) error {
	var random [4]byte
	if _, err := io.ReadFull(draw, random[:]); err != nil {
		return fmt.Errorf("write bundle %s: draw a name: %w", path, err)
	}
	beside := fmt.Sprintf("%s.%x.part", path, random)
	err := writeBeside(fs, beside, fill)
	if err == nil {
		err = fs.Rename(beside, path)
	}
	if err != nil {
		if left := fs.Remove(beside); left != nil && exists(fs, beside) {
			err = fmt.Errorf("%w (and %s is left there: %w)", err, beside, left)
		}
		return fmt.Errorf("write bundle %s: %w", path, err)
	}
	if err := syncFolder(fs, fs.PathDir(path)); err != nil {
		return fmt.Errorf("write bundle %s: it is written, but may be gone when the medium is: %w", path, err)
	}
	return nil
}

func writeBeside(fs vfs.FS, name string, fill func(io.Writer) error) (err error) {
	f, err := fs.Create(name, vfs.WriteCategoryUnspecified)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := fill(f); err != nil {
		return err
	}
	return f.Sync()
}

func syncFolder(fs vfs.FS, dir string) error {
	d, err := fs.OpenDir(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

func exists(fs vfs.FS, name string) bool {
	_, err := fs.Stat(name)
	return err == nil
}
