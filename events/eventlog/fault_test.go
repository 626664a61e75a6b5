package eventlog_test

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// broken is a disk on which operations fail with an error once it is on.
type broken struct {
	err   error
	which func(errorfs.Op) bool
	on    atomic.Bool
	hits  atomic.Int64
}

func (b *broken) over(disk vfs.FS) vfs.FS {
	return errorfs.Wrap(disk, errorfs.InjectorFunc(func(op errorfs.Op) error {
		if !b.on.Load() || !b.which(op) {
			return nil
		}
		b.hits.Add(1)
		return b.err
	}))
}

// takesRoom reports whether an operation can fail for want of room.
func takesRoom(op errorfs.Op) bool {
	switch op.Kind {
	case errorfs.OpCreate, errorfs.OpReuseForWrite, errorfs.OpMkdirAll, errorfs.OpLink, errorfs.OpRename,
		errorfs.OpFileWrite, errorfs.OpFileWriteAt, errorfs.OpFilePreallocate:
		return true
	}
	return isSync(op)
}

// asFound is the disk as the next process finds it: nobody lost power.
func asFound(disk *vfs.MemFS) *vfs.MemFS {
	return disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 100, RNG: rand.New(rand.NewPCG(1, 1))})
}

// impatient options have a deadline that a test can wait for.
func impatient(o eventlog.Options) eventlog.Options {
	o.Deadline = 2 * time.Second
	return o
}

// saveUntilRefused saves actions until one is refused, and says with what.
func saveUntilRefused(l *eventlog.Log, a *acks, most int) error {
	for i := range most {
		if err := a.save(l, long(fmt.Sprintf("more%d", i))); err != nil {
			return err
		}
	}
	return nil
}

func TestF06_FailedSyncIsNotSavedAndStopsTheLog_P2(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 60).Bench(t, 1)
	bad := broken{err: syscall.EIO, which: func(op errorfs.Op) bool { return isSync(op) && isWAL(op) }}
	l := eventstest.Open(t, b.Options(bad.over(disk), "log"))
	var a acks
	for i := range 5 {
		if err := a.save(l, fmt.Sprintf("good%d", i)); err != nil {
			t.Fatal(err)
		}
	}
	bad.on.Store(true)
	wantErr(t, a.save(l, "bad"), eventlog.ErrDead)
	wantErr(t, l.Err(), eventlog.ErrDead)
	wantErr(t, l.Err(), syscall.EIO)
	bad.on.Store(false) // no retry on the same handle, though the disk is well again
	for range 3 {
		wantErr(t, a.save(l, "later"), eventlog.ErrDead)
	}
	wantErr(t, l.Rewrite("1", func(*eventlog.Bulk) error { return nil }), eventlog.ErrDead)
	// What was saved before can be read; what failed can't.
	if n := len(eventstest.All(t, l)); n != 1+5*noteSize {
		t.Errorf("the dead log reads %d events", n)
	}
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	v.Close()
	mustGoOn(t, l, b, disk, &a)
}

// mustGoOn closes a log and opens what is found of it: nothing that was said to be saved
// is lost, and more can be saved.
func mustGoOn(t *testing.T, l *eventlog.Log, b *eventstest.Bench, disk *vfs.MemFS, a *acks) {
	t.Helper()
	closeLog(t, l)
	again := eventstest.Open(t, b.Options(asFound(disk), "log"))
	mustSound(t, again, a.list())
	if err := a.save(again, "after"); err != nil {
		t.Fatal(err)
	}
	mustSound(t, again, a.list())
}

// All who wait when the log dies are told, those whose action had not begun
// as well.
func TestF06_EverybodyWhoWaitsIsTold_P2(t *testing.T) {
	var g gate
	b := eventstest.FoundShop(t, 61).Bench(t, 1)
	bad := broken{err: syscall.EIO, which: func(op errorfs.Op) bool { return isSync(op) && isWAL(op) }}
	l := eventstest.Open(t, b.Options(bad.over(g.over(vfs.NewCrashableMem())), "log"))
	var a acks
	if err := a.save(l, "good"); err != nil {
		t.Fatal(err)
	}
	bad.on.Store(true)
	var wg sync.WaitGroup
	errs := make([]error, 100) // more than share a commit
	for i := range errs {
		wg.Go(func() { errs[i] = a.save(l, fmt.Sprintf("bad%d", i)) })
	}
	wg.Wait()
	for i, err := range errs {
		if !errors.Is(err, eventlog.ErrDead) {
			t.Errorf("caller %d: %v", i, err)
		}
	}
	mustSound(t, l, a.list())
}

// A disk that stops answering is a disk that failed.
func TestF06_DiskThatDoesNotAnswerStopsTheLog_P2(t *testing.T) {
	var g gate
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 62).Bench(t, 1)
	o := b.Options(g.over(disk), "log")
	o.Deadline = 150 * time.Millisecond
	l := eventstest.Open(t, o)
	var a acks
	if err := a.save(l, "good"); err != nil {
		t.Fatal(err)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	wantErr(t, a.save(l, "hangs"), eventlog.ErrDead)
	wantErr(t, a.save(l, "later"), eventlog.ErrDead)
	mustSound(t, l, a.list())
	closeLog(t, l)
	mustSound(t, eventstest.Open(t, b.Options(asFound(disk), "log")), a.list())
}

// The disk fills up for one kind of the store's files, or for all.
func TestF07_DiskFullForAKindOfFile_P2_P13(t *testing.T) {
	for name, match := range map[string]string{
		"write-ahead log": ".log", "tables": ".sst", "manifest": "MANIFEST", "marker": "marker", "all": "",
	} {
		t.Run(name, func(t *testing.T) {
			disk := vfs.NewCrashableMem()
			b := eventstest.FoundShop(t, 63).Bench(t, 1)
			full := broken{err: syscall.ENOSPC, which: func(op errorfs.Op) bool { return takesRoom(op) && strings.Contains(op.Path, match) }}
			l := eventstest.Open(t, impatient(eventlog.Tiny(b.Options(full.over(disk), "log"))))
			var a acks
			for i := range 9 {
				if err := a.save(l, long(fmt.Sprintf("good%d", i))); err != nil {
					t.Fatal(err)
				}
			}
			full.on.Store(true)
			if err := saveUntilRefused(l, &a, 200); err != nil {
				wantErr(t, err, eventlog.ErrDead)
				wantErr(t, l.Err(), eventlog.ErrDiskFull)
				if !strings.Contains(l.Err().Error(), "the disk is full") {
					t.Errorf("the log says %q", l.Err())
				}
			} else if full.hits.Load() > 0 {
				t.Errorf("%d operations failed and nobody was told", full.hits.Load())
			}
			mustSound(t, l, a.list())
			closed := make(chan error, 1)
			go func() { closed <- l.Close() }()
			select {
			case <-closed:
			case <-time.After(10 * time.Second):
				t.Fatal("close hangs")
			}
			reopensReadOnlyThenWell(t, b, disk, &full, &a)
		})
	}
}

// The disk fills up while an action is written as tables: it is not saved, and once
// there is room again the same handle goes on.
func TestF07_DiskFullWhileTablesAreWritten_P2_P13(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 67).Bench(t, 1)
	full := broken{err: syscall.ENOSPC, which: func(op errorfs.Op) bool { return takesRoom(op) && strings.Contains(op.Path, "making") }}
	l := eventstest.Open(t, b.Options(full.over(disk), "log"))
	var a acks
	l.WriteTables(true)
	if err := a.save(l, "good"); err != nil {
		t.Fatal(err)
	}
	full.on.Store(true)
	wantErr(t, a.save(l, "no room"), eventlog.ErrDiskFull)
	if l.Err() != nil {
		t.Fatalf("the handle is dead: %v", l.Err())
	}
	mustSound(t, l, a.list())
	full.on.Store(false)
	if err := a.save(l, "room again"); err != nil {
		t.Fatal(err)
	}
	mustSound(t, l, a.list())
	if list, err := disk.List("log/making"); err == nil && len(list) > 0 {
		t.Errorf("files are left: %v", list)
	}
	closeLog(t, l)
	mustSound(t, eventstest.Open(t, b.Options(asFound(disk), "log")), a.list())
}

// reopensReadOnlyThenWell starts again with the disk as it is, and then with
// the cause gone.
func reopensReadOnlyThenWell(t *testing.T, b *eventstest.Bench, disk *vfs.MemFS, bad *broken, a *acks) {
	t.Helper()
	still := eventstest.Open(t, impatient(eventlog.Tiny(b.Options(bad.over(asFound(disk)), "log"))))
	mustSound(t, still, a.list())
	if err := still.Err(); err != nil {
		wantErr(t, still.Found().ReadOnly, eventlog.ErrReadOnly)
		wantErr(t, still.Found().ReadOnly, bad.err)
		wantErr(t, a.save(still, "refused"), eventlog.ErrReadOnly)
	}
	bad.on.Store(false)
	well := eventstest.Open(t, eventlog.Tiny(b.Options(asFound(disk), "log")))
	mustSound(t, well, a.list())
	if err := a.save(well, "room again"); err != nil {
		t.Fatal(err)
	}
	mustSound(t, well, a.list())
}

// The disk fails at the n-th operation, once or for good, for every n: nothing
// acked is lost, nobody hangs, the process lives, and what is there is read.
func TestF06_F07_EveryOperationCanBeTheFirstToFail_P1_P2_P13(t *testing.T) {
	step := 1
	if testing.Short() {
		step = 9
	}
	for _, c := range []struct {
		name  string
		cause error
		times int64
	}{
		{"full", syscall.ENOSPC, 1 << 60}, {"broken", syscall.EIO, 1 << 60}, {"broken once", syscall.EIO, 1},
		{"full twice", syscall.ENOSPC, 2}, // once is tried again, behind the ballast
	} {
		t.Run(c.name, func(t *testing.T) {
			for n := int64(0); ; n += int64(step) {
				done, fail := failAt(t, n, c.times, c.cause)
				if fail != nil {
					t.Errorf("from operation %d on: %v", n, fail)
				}
				if done || t.Failed() {
					t.Logf("%d operations", n)
					break
				}
			}
		})
	}
}

// failAt runs a script of two sessions on a disk that fails so many times from
// operation n on. It is done when the script ended before that.
func failAt(t *testing.T, n, times int64, cause error) (done bool, err error) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 64).Bench(t, 1)
	var ops atomic.Int64
	bad := broken{err: cause, which: func(op errorfs.Op) bool {
		if !takesRoom(op) {
			return false
		}
		k := ops.Add(1)
		return k > n && k <= n+times
	}}
	bad.on.Store(true)
	faulty := bad.over(disk)
	var a acks
	for session := range 2 {
		l, err := eventlog.Open(impatient(eventlog.Tiny(b.Options(faulty, "log"))))
		if err != nil {
			if bad.hits.Load() == 0 {
				return false, err
			}
			break
		}
		for i := range 9 {
			if err := a.save(l, long(fmt.Sprintf("s%d-%d", session, i))); err != nil {
				if !errors.Is(err, eventlog.ErrDead) && !errors.Is(err, eventlog.ErrReadOnly) {
					return false, fmt.Errorf("refused with %w", err)
				}
				break
			}
		}
		if err := sound(l, a.list()); err != nil {
			return false, fmt.Errorf("the handle it happened on: %w", err)
		}
		if err := l.Close(); bad.hits.Load() > 0 {
			break
		} else if err != nil {
			return false, err
		}
	}
	return bad.hits.Load() == 0, reopened(b, disk, cause, a.list())
}

// reopened opens what a failed disk holds: once with every change to it
// failing, once well again.
func reopened(b *eventstest.Bench, disk *vfs.MemFS, cause error, acked []action) error {
	bad := broken{err: cause, which: takesRoom}
	bad.on.Store(true)
	l, err := eventlog.Open(impatient(eventlog.Tiny(b.Options(bad.over(asFound(disk)), "log"))))
	if err == nil {
		err = errors.Join(sound(l, acked), l.Close())
	} else if len(acked) == 0 {
		err = nil // there may be no store yet, and none can be made
	}
	if err != nil {
		return fmt.Errorf("reopened on the failing disk: %w", err)
	}
	c := crash{disk: asFound(disk), acked: acked}
	if err := c.recovers(b); err != nil {
		return fmt.Errorf("reopened on a good disk: %w", err)
	}
	return nil
}

// A folder that can't be written opens for reading and says why.
func TestF08_FolderThatCanNotBeWrittenIsRead_P13(t *testing.T) {
	for word, cause := range map[string]error{"the disk can only be read": syscall.EROFS, "no permission to write": syscall.EACCES} {
		t.Run(cause.Error(), func(t *testing.T) {
			l, b, disk := eventstest.OnMem(t, 65)
			eventstest.SaveVisit(t, l)
			closeLog(t, l)
			ro := broken{err: cause, which: func(op errorfs.Op) bool {
				return op.Kind.ReadOrWrite() == errorfs.OpIsWrite && op.Kind != errorfs.OpFileClose
			}}
			ro.on.Store(true)
			l = eventstest.Open(t, b.Options(ro.over(disk), "log"))
			mustHaveVisit(t, l)
			why := l.Found().ReadOnly
			wantErr(t, why, eventlog.ErrReadOnly)
			if !strings.Contains(fmt.Sprint(why), word) {
				t.Errorf("it says %q, want %q in it", why, word)
			}
			var a acks
			wantErr(t, a.save(l, "refused"), eventlog.ErrReadOnly)
			wantErr(t, l.Rewrite("1", func(*eventlog.Bulk) error { return nil }), eventlog.ErrReadOnly)
			mustHaveVisit(t, l)
			closeLog(t, l)
			ro.on.Store(false)
			l = eventstest.Open(t, b.Options(ro.over(disk), "log"))
			if err := a.save(l, "well again"); err != nil {
				t.Fatal(err)
			}
		})
	}
}

func TestReadOnlyOpeningWritesNotAByte(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 66)
	eventstest.SaveVisit(t, l) // stays in the write-ahead log: the crash comes before any flush
	crashed := asFound(disk)
	o := b.Options(nil, "log")
	var changes atomic.Int64
	o.FS = before(crashed, func(op errorfs.Op) {
		if op.Kind != errorfs.OpLock && op.Kind != errorfs.OpFileClose {
			changes.Add(1)
		}
	})
	o.ReadOnly = true
	ro := eventstest.Open(t, o)
	mustHaveVisit(t, ro)
	wantErr(t, ro.Err(), eventlog.ErrReadOnly)
	closeLog(t, ro)
	if n := changes.Load(); n != 0 {
		t.Errorf("%d changes to the disk", n)
	}
	o.Dir = "nothing here"
	_, err := eventlog.Open(o)
	wantErr(t, err, eventlog.ErrNoStore)
	if _, err := crashed.Stat("nothing here"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a folder was made: %v", err)
	}
}
