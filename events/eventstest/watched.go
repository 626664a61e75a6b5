package eventstest

import (
	"sync"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// Watched is a disk on which before is called before each operation, one at a time.
// It may copy the disk as a crash would leave it.
func Watched(disk vfs.FS, before func(errorfs.Op)) vfs.FS {
	w := &watched{FS: disk}
	return errorfs.Wrap(w, errorfs.InjectorFunc(func(op errorfs.Op) error {
		w.linking.Lock()
		defer w.linking.Unlock()
		before(op)
		return nil
	}))
}

// watched is a disk that is not copied while a file is linked on it: the engine's disk
// in memory locks itself for that twice, and waits for ever for a copy that comes
// between.
type watched struct {
	vfs.FS
	linking sync.RWMutex
}

// Link is the disk's.
func (w *watched) Link(from, to string) error {
	w.linking.RLock()
	defer w.linking.RUnlock()
	return w.FS.Link(from, to)
}
