package eventlog_test

import (
	"strings"
	"syscall"
	"testing"

	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// A ballast that can't be made or filled is none: half a one would take room
// and give back less than is counted on. The log is opened and written all the same.
func TestF07_HalfABallastIsNone_P13(t *testing.T) {
	for name, kind := range map[string]errorfs.OpKind{
		"made": errorfs.OpCreate, "filled": errorfs.OpFileWrite, "not looked for": errorfs.OpStat,
	} {
		t.Run(name, func(t *testing.T) {
			bad := broken{err: syscall.ENOSPC, which: func(op errorfs.Op) bool {
				return op.Kind == kind && strings.HasSuffix(op.Path, "ballast")
			}}
			bad.on.Store(true)
			mem := vfs.NewMem()
			disk := &roomy{FS: bad.over(mem)}
			disk.free.Store(1 << 40)
			o := eventstest.FoundShop(t, 450).Bench(t, 1).Options(disk, "shop/log")
			o.Ballast = true
			l := eventstest.Open(t, o)
			if bad.hits.Load() == 0 {
				t.Fatal("nothing failed")
			}
			stat, err := mem.Stat("shop/ballast")
			if there := err == nil; there != (name == "not looked for") || there && stat.Size() != 64<<20 {
				t.Errorf("the ballast is %v (%v)", stat, err)
			}
			var a acks
			if err := a.save(l, "all the same"); err != nil {
				t.Fatal(err)
			}
			mustSound(t, l, a.list())
		})
	}
}

// One that is there is kept as it is.
func TestF07_ABallastThatIsThereIsKept(t *testing.T) {
	mem := vfs.NewMem()
	disk := &roomy{FS: mem}
	disk.free.Store(1 << 40)
	b := eventstest.FoundShop(t, 451).Bench(t, 1)
	o := b.Options(disk, "shop/log")
	o.Ballast = true
	closeLog(t, eventstest.Open(t, o))
	first := readFile(t, mem, "shop/ballast")
	bad := broken{err: syscall.EIO, which: func(op errorfs.Op) bool {
		return op.Kind.ReadOrWrite() == errorfs.OpIsWrite && strings.HasSuffix(op.Path, "ballast")
	}}
	bad.on.Store(true)
	disk.FS = bad.over(mem)
	l := eventstest.Open(t, o)
	if bad.hits.Load() > 0 || len(readFile(t, mem, "shop/ballast")) != len(first) {
		t.Error("it was written again")
	}
	if about, err := l.About(); err != nil || !about.Ballast {
		t.Errorf("about is %+v (%v)", about, err)
	}
}
