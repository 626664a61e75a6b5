package eventlog

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"sync/atomic"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// walCategory is how the store engine marks the files of its write-ahead log.
const walCategory vfs.DiskWriteCategory = "pebble-wal"

// diskGuard stands between the store and its disk.
//
// When a file of the write-ahead log can't be created, written, synced or
// closed, or a folder can't be synced, the handle dies and the engine does not get control back. It would
// go on to panic while it holds half of its locks, which ends the process and
// can't be caught, or to let readers see what was not saved. While the store
// is opened and closed the guard is not armed: there an error comes back as an
// error.
//
// It also syncs the folder before a marker is made. A marker's name says which
// manifest counts, and the engine leaves it to the disk to keep the names of
// both or neither when power is lost between.
type diskGuard struct {
	vfs.FS
	armed  atomic.Bool
	failed func(error)
}

// check passes an error on, or never returns.
func (g *diskGuard) check(err error) error {
	if err != nil && g.armed.Load() {
		g.stop(err)
	}
	return err
}

func (g *diskGuard) stop(err error) {
	g.failed(err)
	select {}
}

// Create guards the file if it is of the write-ahead log.
func (g *diskGuard) Create(name string, c vfs.DiskWriteCategory) (vfs.File, error) {
	if strings.HasPrefix(g.PathBase(name), "marker.") {
		if err := g.syncFolder(g.PathDir(name)); err != nil {
			return nil, err
		}
	}
	f, err := g.FS.Create(name, c)
	return g.file(f, err, c)
}

// ReuseForWrite guards the file if it is of the write-ahead log.
func (g *diskGuard) ReuseForWrite(old, name string, c vfs.DiskWriteCategory) (vfs.File, error) {
	f, err := g.FS.ReuseForWrite(old, name, c)
	return g.file(f, err, c)
}

// Link says of a disk without hard links something else than that permission is
// missing: the engine copies the file where it hears of any other reason. A folder
// that can't be written refuses the copy too.
func (g *diskGuard) Link(old, name string) error {
	err := g.FS.Link(old, name)
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("link %s: %v", name, err) // not wrapped: it would be known again
	}
	return err
}

// GetDiskUsage gives of a disk that can't say how much room it has the error of one on
// which nobody can ask. Of any other the engine tells as of a flush that failed, and the
// handle would die of it, also while it is opened.
func (g *diskGuard) GetDiskUsage(name string) (vfs.DiskUsage, error) {
	use, err := g.FS.GetDiskUsage(name)
	if err != nil {
		err = fmt.Errorf("%w: %w", vfs.ErrUnsupported, err)
	}
	return use, err
}

func (g *diskGuard) syncFolder(name string) error {
	dir, err := g.FS.OpenDir(name)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

func (g *diskGuard) file(f vfs.File, err error, c vfs.DiskWriteCategory) (vfs.File, error) {
	if c != walCategory {
		return f, err
	}
	if err := g.check(err); err != nil {
		return nil, err
	}
	return &walFile{f, g}, nil
}

// OpenDir guards a folder.
func (g *diskGuard) OpenDir(name string) (vfs.File, error) {
	f, err := g.FS.OpenDir(name)
	if err != nil {
		return nil, err
	}
	return &folder{f, g}, nil
}

type folder struct {
	vfs.File
	g *diskGuard
}

// Sync returns only if it went well.
func (f *folder) Sync() error {
	err := f.File.Sync()
	if err != nil {
		f.g.stop(err)
	}
	return err
}

// Unwrap is for the engine's own look at the file system below.
func (g *diskGuard) Unwrap() vfs.FS { return g.FS }

// walFile is a file of the write-ahead log.
type walFile struct {
	vfs.File
	g *diskGuard
}

func (f *walFile) Write(p []byte) (int, error) {
	n, err := f.File.Write(p)
	return n, f.g.check(err)
}

func (f *walFile) WriteAt(p []byte, off int64) (int, error) {
	n, err := f.File.WriteAt(p, off)
	return n, f.g.check(err)
}

func (f *walFile) Sync() error     { return f.g.check(f.File.Sync()) }
func (f *walFile) SyncData() error { return f.g.check(f.File.SyncData()) }
func (f *walFile) Close() error    { return f.g.check(f.File.Close()) }

func (f *walFile) SyncTo(length int64) (bool, error) {
	full, err := f.File.SyncTo(length)
	return full, f.g.check(err)
}

// readFS lets a folder be read whose lock file can't be written, as on a disk
// that is mounted for reading, or whose lock this process holds already by an
// opening that went dead.
type readFS struct {
	vfs.FS
	held bool
}

// Lock locks where it can.
func (r readFS) Lock(name string) (io.Closer, error) {
	if r.held {
		return noLock{}, nil
	}
	c, err := r.FS.Lock(name)
	if err != nil && unwritable(err) {
		return noLock{}, nil
	}
	return c, err
}

// Unwrap is for the engine's own look at the file system below.
func (r readFS) Unwrap() vfs.FS { return r.FS }

type noLock struct{}

func (noLock) Close() error { return nil }
