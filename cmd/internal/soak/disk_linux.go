package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// smallDisk is a disk of its own for one bench, in memory, that can be filled.
type smallDisk struct{ at string }

// smallDiskSize leaves room for what a bench writes in an hour above what the program
// keeps free (200 MiB) and holds in reserve (64 MiB).
const smallDiskSize = "900m"

// newSmallDisk mounts one. It takes the rights to mount.
func newSmallDisk(at string) (*smallDisk, error) {
	if err := os.MkdirAll(at, 0o700); err != nil {
		return nil, err
	}
	if err := syscall.Mount("soak", at, "tmpfs", 0, "size="+smallDiskSize+",mode=700"); err != nil {
		return nil, fmt.Errorf("mount a small disk at %s: %w", at, err)
	}
	return &smallDisk{at}, nil
}

// fill takes all but some of the room that is left, until it is emptied.
func (d *smallDisk) fill(leave int64) (empty func() error, err error) {
	path := filepath.Join(d.at, "filled")
	empty = func() error { return os.Remove(path) }
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	for range 20 {
		var fs syscall.Statfs_t
		if err := syscall.Statfs(d.at, &fs); err != nil {
			return empty, err
		}
		n := int64(fs.Bavail)*fs.Bsize - leave
		if n <= 0 {
			break
		}
		if err = syscall.Fallocate(int(f.Fd()), 0, 0, n); !errors.Is(err, syscall.ENOSPC) {
			return empty, err
		} // the bench wrote meanwhile, and took of what was free
	}
	return empty, nil
}

// drop unmounts it.
func (d *smallDisk) drop() error { return syscall.Unmount(d.at, syscall.MNT_DETACH) }
