package main

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// copyFolder copies a folder that nobody has open. The store's sorted tables,
// nearly all of it, are linked and not copied: once written they are only ever
// taken away. So a copy of ten million events costs a moment and no room.
func copyFolder(from, to string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		place := filepath.Join(to, rel)
		if d.IsDir() {
			return os.MkdirAll(place, 0o700)
		}
		if filepath.Ext(path) == ".sst" && os.Link(path, place) == nil {
			return nil
		}
		return copyFile(path, place)
	})
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	if _, err = io.Copy(out, in); err == nil {
		err = out.Sync() // what is measured next must not wait for this
	}
	if e := out.Close(); err == nil {
		err = e
	}
	return err
}

// sizeOf is the bytes of all files in a folder. A file may go while it is looked at.
func (t *turn) sizeOf(dir string) (n int64) {
	t.check(filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			var i fs.FileInfo
			if i, err = d.Info(); err == nil {
				n += i.Size()
			}
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}))
	return n
}
