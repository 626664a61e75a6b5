package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/events/sharedtest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// roomy is a disk that says how much room it has.
type roomy struct {
	vfs.FS
	free atomic.Uint64
}

func (r *roomy) GetDiskUsage(string) (vfs.DiskUsage, error) {
	free := r.free.Load()
	return vfs.DiskUsage{AvailBytes: free, TotalBytes: 1 << 40, UsedBytes: 1<<40 - free}, nil
}

// narrow is a disk that says how much room it has, or that it can't say.
type narrow struct {
	roomy
	err atomic.Pointer[error]
}

func (n *narrow) GetDiskUsage(dir string) (vfs.DiskUsage, error) {
	if err := n.err.Load(); err != nil {
		return vfs.DiskUsage{}, *err
	}
	return n.roomy.GetDiskUsage(dir)
}

// A disk that can't say how much room it has is no disk that fails: it is opened and
// written, and what says that it is full is a write.
func TestF08_ADiskThatDoesNotTellItsRoomIsWritten_P13(t *testing.T) {
	silent := error(syscall.EPERM)
	on := &narrow{roomy: roomy{FS: vfs.NewCrashableMem()}}
	on.err.Store(&silent)
	b := eventstest.FoundShop(t, 514).Bench(t, 1)
	o := eventlog.Tiny(b.Options(on, "log"))
	o.LeastFree = eventlog.DefaultLeastFree
	l := eventstest.Open(t, o)
	var a acks
	for range 20 {
		if err := a.save(l, long("written")+string(rune('a'+len(a.list())))); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(l.Flush(), l.Compact(t), l.Err()); err != nil {
		t.Fatal(err)
	}
	mustSound(t, l, a.list())
}

func TestF07_WritingStopsWhileTooLittleIsFree_P13(t *testing.T) {
	const least = 100 << 20
	disk := &roomy{FS: vfs.NewCrashableMem()}
	disk.free.Store(least)
	b := eventstest.FoundShop(t, 100).Bench(t, 1)
	o := b.Options(disk, "log")
	o.LeastFree = least
	l := eventstest.Open(t, o)
	eventstest.SaveVisit(t, l)

	disk.free.Store(least - 1)
	var a acks
	err := a.save(l, "too full")
	wantErr(t, err, eventlog.ErrReadOnly)
	wantErr(t, err, eventlog.ErrDiskFull)
	for _, word := range []string{"not saved", "the disk is full", "99 MiB are free", "below 100"} {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("it says %q, want %q in it", err, word)
		}
	}
	mustHaveVisit(t, l)
	if l.Err() != nil {
		t.Errorf("the log is dead: %v", l.Err())
	}
	disk.free.Store(least)
	if err := a.save(l, "room again"); err != nil {
		t.Fatal(err)
	}

	// Opened while too little is free it is read, and says why it is not written.
	closeLog(t, l)
	disk.free.Store(1)
	l = eventstest.Open(t, o)
	wantErr(t, l.Found().ReadOnly, eventlog.ErrDiskFull)
	wantErr(t, a.save(l, "too full"), eventlog.ErrReadOnly)
	if _, err := readAll(l); err != nil {
		t.Error(err)
	}
	closeLog(t, l)
	disk.free.Store(least)
	if err := a.save(eventstest.Open(t, o), "room again"); err != nil {
		t.Fatal(err)
	}
}

// The ballast is laid once where there is ample room, and given up for a write
// that finds none, which is then saved.
func TestF07_BallastIsGivenUpForAWrite_P13(t *testing.T) {
	full := broken{err: syscall.ENOSPC}
	mem := vfs.NewCrashableMem()
	const ballast = "shop/ballast"
	full.which = isWALWriteWhile(mem, ballast)
	disk := &roomy{FS: full.over(mem)}
	disk.free.Store(1 << 40)
	b := eventstest.FoundShop(t, 101).Bench(t, 1)
	o := b.Options(disk, "shop/log")
	o.Ballast = true
	l := eventstest.Open(t, o)
	if s, err := mem.Stat(ballast); err != nil || s.Size() != 64<<20 {
		t.Fatalf("ballast: %v, %v", s, err)
	}
	var a acks
	full.on.Store(true)
	if err := a.save(l, "the last of the room"); err != nil {
		t.Fatalf("with a ballast to give up: %v", err)
	}
	if full.hits.Load() == 0 {
		t.Error("the disk was never full")
	}
	mustSound(t, l, a.list())
	closeLog(t, l)
	if _, err := mem.Stat(ballast); err == nil {
		t.Error("the ballast is still there")
	}
	disk.free.Store(640 << 20) // room, but not ten times over
	o.LeastFree = 1
	eventstest.Open(t, o)
	if _, err := mem.Stat(ballast); err == nil {
		t.Error("the ballast was laid where there is little room")
	}
}

// What is left is said in time, and not on a large disk with years of room.
func TestADiskThatFillsUpIsSaidOnceLittleIsLeft(t *testing.T) {
	disk := &roomy{FS: vfs.NewCrashableMem()}
	b := eventstest.FoundShop(t, 100).Bench(t, 1)
	for _, c := range []struct {
		free uint64
		want []string
	}{
		{500 << 30, nil},
		{25 << 30, nil}, // under a tenth
		{1 << 30, []string{"the disk is filling up: 1024 MiB are free, and writing stops below 200"}},
	} {
		disk.free.Store(c.free)
		o := b.Options(disk, "log")
		var mu sync.Mutex
		var said []string
		o.Warn = func(s string) {
			mu.Lock()
			defer mu.Unlock()
			said = append(said, s)
		}
		closeLog(t, eventstest.Open(t, o))
		if !slices.Equal(said, c.want) {
			t.Errorf("%d GiB free: said %q, want %q", c.free>>30, said, c.want)
		}
	}
}

// isWALWriteWhile is for a disk that has no room for the write-ahead log while
// a file is there.
func isWALWriteWhile(disk vfs.FS, name string) func(errorfs.Op) bool {
	return func(op errorfs.Op) bool {
		_, err := disk.Stat(name)
		return err == nil && isWAL(op) && (op.Kind == errorfs.OpFileWrite || isSync(op))
	}
}

// A real disk of a few megabytes fills up under a writing process. What it
// said was saved is there, the next process reads it on the full disk, and
// with room again the one after that writes.
func TestF07_RealDiskFillsUp_P1_P2_P13(t *testing.T) {
	dir := sharedtest.SmallDisk(t, "size=6m")
	if err := os.WriteFile(filepath.Join(dir, "photographs"), make([]byte, 2<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd, out := child(t, "fill", dir)
	acked := ackedBy(t, out)
	if err := cmd.Wait(); err != nil {
		t.Fatalf("the writing process: %v", err)
	}
	if len(acked) < 20 {
		t.Fatalf("only %d actions fitted", len(acked))
	}
	cmd, out = child(t, "read", dir)
	said, err := io.ReadAll(out)
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("the reading process: %v", err)
	}
	for _, a := range acked {
		for _, id := range a.ids {
			if !bytes.Contains(said, []byte(id.String())) {
				t.Fatalf("event %s was acked and is not read on the full disk", id)
			}
		}
	}
	if err := os.Remove(filepath.Join(dir, "photographs")); err != nil {
		t.Fatal(err)
	}
	l := eventstest.Open(t, childBench(t).InFolder(dir))
	a := acks{made: acked}
	if err := a.save(l, "room again"); err != nil {
		t.Fatal(err)
	}
	mustSound(t, l, a.list())
	closeLog(t, l)
}

// fillDisk saves actions, saying which, until the disk is full. It exits well
// if the refusal says so.
func fillDisk(l *eventlog.Log) int {
	for i := range 100_000 {
		var a acks
		err := a.save(l, long(fmt.Sprintf("f-%d", i)))
		if err == nil {
			say(a.made[0].ids)
			continue
		}
		if !errors.Is(err, eventlog.ErrDiskFull) || !errors.Is(err, eventlog.ErrDead) && !errors.Is(err, eventlog.ErrReadOnly) {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		if _, err := readAll(l); err != nil {
			fmt.Fprintln(os.Stderr, "reading on:", err)
			return 1
		}
		return 0
	}
	return 3
}

// readOnFullDisk reads everything and is refused a write.
func readOnFullDisk(l *eventlog.Log) int {
	var a acks
	if err := a.save(l, "no room"); !errors.Is(err, eventlog.ErrReadOnly) || !errors.Is(err, eventlog.ErrDiskFull) {
		fmt.Fprintln(os.Stderr, "on a full disk:", err)
		return 1
	}
	evs, err := readAll(l)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	for _, e := range evs {
		fmt.Println(e.ID)
	}
	return 0
}

// takeRoom fills a disk to the last byte.
func takeRoom(folder string) error {
	f, err := os.Create(filepath.Join(folder, "more photographs"))
	if err != nil {
		return err
	}
	for size := 1 << 16; size > 0; size /= 2 {
		for err == nil {
			_, err = f.Write(make([]byte, size))
		}
		if !errors.Is(err, syscall.ENOSPC) {
			return err
		}
		err = nil
	}
	return f.Close()
}

// A real disk that is mounted for reading only.
func TestF08_RealReadOnlyDiskIsRead_P13(t *testing.T) {
	dir := sharedtest.SmallDisk(t, "size=8m")
	b := eventstest.FoundShop(t, 102).Bench(t, 1)
	l := eventstest.Open(t, b.InFolder(dir))
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	if err := sharedtest.MountTmpfs(dir, "remount,ro"); err != nil {
		t.Fatal(err)
	}
	l = eventstest.Open(t, b.InFolder(dir))
	mustHaveVisit(t, l)
	wantErr(t, l.Found().ReadOnly, syscall.EROFS)
	err := l.Append(t.Context(), func(*eventlog.Tx) error { return nil })
	wantErr(t, err, eventlog.ErrReadOnly)
	closeLog(t, l)
}
