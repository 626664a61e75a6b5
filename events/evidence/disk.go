package evidence

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// what is how the disk's statistics name our files.
const what vfs.DiskWriteCategory = "evidence"

// private makes files that only their owner may read.
type private struct{ vfs.FS }

// Create makes an empty file.
func (p private) Create(name string, c vfs.DiskWriteCategory) (vfs.File, error) {
	f, err := p.FS.Create(name, c)
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(name, 0o600); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// Unwrap is for the look at the file system below.
func (p private) Unwrap() vfs.FS { return p.FS }

// folder makes a folder of the store and the store's own, and has their names
// on disk.
func (s *Store) folder(name string) (string, error) {
	path := s.path(name)
	if _, err := s.fs.Stat(path); err == nil {
		return path, nil
	}
	if err := s.fs.MkdirAll(path, 0o700); err != nil {
		return "", err
	}
	if err := s.syncFolder(s.fs.PathDir(s.opt.Dir)); err != nil {
		return "", err
	}
	return path, s.syncFolder(s.opt.Dir)
}

func (s *Store) syncFolder(path string) error {
	dir, err := s.fs.OpenDir(path)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// write writes a file beside what is kept and syncs it. It leaves no file where
// it fails.
func (s *Store) write(fill func(w io.Writer) error) (path string, err error) {
	dir, err := s.folder("coming")
	if err != nil {
		return "", err
	}
	path = s.fs.PathJoin(dir, rand.Text()+".new")
	f, err := s.fs.Create(path, what)
	if err != nil {
		return "", err
	}
	err = fill(f)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return "", errors.Join(err, s.remove(path))
	}
	return path, nil
}

// settle gives a written file its name for good. Where it fails, the file is
// where it was, or has its name and may not have it after power is lost.
func (s *Store) settle(from, folder, name string) error {
	dir, err := s.folder(folder)
	if err == nil {
		err = s.fs.Rename(from, s.fs.PathJoin(dir, name))
	}
	if err != nil {
		return err
	}
	return s.syncFolder(dir)
}

// settleNew settles a file that write made, and takes it away where it fails.
func (s *Store) settleNew(from, folder, name string) error {
	err := s.settle(from, folder, name)
	if err != nil {
		err = errors.Join(err, s.remove(from))
	}
	return err
}

// remove takes a file away; one that is not there is no error.
func (s *Store) remove(path string) error {
	if err := s.fs.Remove(path); err != nil && !absent(err) {
		return err
	}
	return nil
}

// names lists a folder of the store, which may not be there.
func (s *Store) names(folder string) ([]string, error) {
	list, err := s.fs.List(s.path(folder))
	if err != nil && absent(err) {
		return nil, nil
	}
	return list, err
}

// room refuses where writing size bytes would leave too little free. A disk
// that does not say how full it is refuses nothing.
func (s *Store) room(size int64) error {
	if s.opt.LeastFree == 0 {
		return nil
	}
	dir := s.opt.Dir
	if _, err := s.fs.Stat(dir); err != nil {
		dir = s.fs.PathDir(dir)
	}
	use, err := s.fs.GetDiskUsage(dir)
	if err == nil && use.AvailBytes < s.opt.LeastFree+uint64(size) {
		return fmt.Errorf("%w: %d MiB are free, and photos and recordings leave %d free", ErrFull, use.AvailBytes>>20, s.opt.LeastFree>>20)
	}
	return nil
}

// sweep takes away what a crash left.
func (s *Store) sweep() error {
	list, err := s.names("coming")
	for _, name := range list {
		path := s.fs.PathJoin(s.path("coming"), name)
		if info, gone := s.fs.Stat(path); gone == nil && len(name) > 4 && name[len(name)-4:] == ".new" && s.opt.Now().Sub(info.ModTime()) > stale {
			err = errors.Join(err, s.remove(path))
		}
	}
	return err
}
