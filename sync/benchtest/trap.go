package benchtest

import (
	"maps"
	"math/rand/v2"
	"sync"

	"oldhand/events"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// trap is a power cut that comes while the laptop does something: before the
// n-th time that it waits for its disk. It keeps the disk as it is then; the
// laptop goes on from there once it has done what it was doing.
type trap struct {
	mu       sync.Mutex // the store syncs on a goroutine of its own
	left     int
	unsynced bool // what was not synced is kept: all or nothing, so that a seed always gives the same
	disk     *vfs.MemFS
	acked    map[events.Hash]bool
}

// watched is a disk that springs the trap.
func (t *trap) watched(disk *vfs.MemFS) vfs.FS {
	return eventstest.Watched(disk, func(op errorfs.Op) {
		switch op.Kind {
		case errorfs.OpFileSync, errorfs.OpFileSyncData, errorfs.OpFileSyncTo:
			t.spring(disk)
		}
	})
}

func (t *trap) spring(disk *vfs.MemFS) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.left == 0 {
		return
	}
	if t.left--; t.left == 0 {
		cfg := vfs.CrashCloneCfg{RNG: rand.New(rand.NewPCG(1, 5))}
		if t.unsynced {
			cfg.UnsyncedDataPercent = 100
		}
		t.disk = disk.CrashClone(cfg)
	}
}

// set arms the trap; what is acked from here on need not outlive it.
func (t *trap) set(left int, unsynced bool, acked map[events.Hash]bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.left, t.unsynced, t.disk, t.acked = left, unsynced, nil, maps.Clone(acked)
}

// sprung disarms it and gives the disk, if it went off.
func (t *trap) sprung() *vfs.MemFS {
	t.mu.Lock()
	defer t.mu.Unlock()
	disk := t.disk
	t.left, t.disk = 0, nil
	return disk
}
