package eventlog

import (
	"sync"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// ballastSize is a file of zeros that is removed when the disk fills up, so
// that the store can finish what it began and be opened again.
const ballastSize = 64 << 20

// ballast is that file. It is only laid where there is ample room.
type ballast struct {
	fs    vfs.FS
	path  string
	spent sync.Once
}

// lay makes the file if it is not there and the disk has room for it ten times
// over beyond the least that must stay free.
func (b *ballast) lay(dir string, least uint64) {
	if _, err := b.fs.Stat(b.path); err == nil {
		return
	}
	use, err := b.fs.GetDiskUsage(dir)
	if err != nil || use.AvailBytes < least+10*ballastSize {
		return
	}
	f, err := b.fs.Create(b.path, vfs.WriteCategoryUnspecified)
	if err != nil {
		return
	}
	zeros := make([]byte, 1<<20)
	for range ballastSize / len(zeros) {
		if _, err = f.Write(zeros); err != nil {
			break
		}
	}
	if f.Close() != nil || err != nil {
		_ = b.fs.Remove(b.path) // half a ballast is worse than none
	}
}

// drop removes the file, once.
func (b *ballast) drop() {
	b.spent.Do(func() { _ = b.fs.Remove(b.path) })
}
