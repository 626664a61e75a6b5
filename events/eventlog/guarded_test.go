package eventlog

import (
	"errors"
	"io/fs"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// spoilt is a disk on which everything that changes it fails once it is on.
type spoilt struct{ on atomic.Bool }

func (s *spoilt) over(disk vfs.FS) vfs.FS {
	return errorfs.Wrap(disk, errorfs.InjectorFunc(func(op errorfs.Op) error {
		if s.on.Load() && (op.Kind.ReadOrWrite() == errorfs.OpIsWrite || op.Kind == errorfs.OpOpenDir) {
			return syscall.EIO
		}
		return nil
	}))
}

// unclosed is a disk on which files can't be closed once it is on; errorfs lets that
// go well.
type unclosed struct {
	vfs.FS
	*spoilt
}

func (u unclosed) Create(name string, c vfs.DiskWriteCategory) (vfs.File, error) {
	f, err := u.FS.Create(name, c)
	return unclosedFile{f, u.spoilt}, err
}

type unclosedFile struct {
	vfs.File
	*spoilt
}

func (f unclosedFile) Close() error {
	if f.on.Load() {
		return errors.Join(f.File.Close(), syscall.EIO)
	}
	return f.File.Close()
}

// walWrites are all that the engine does to a file of its write-ahead log.
var walWrites = map[string]func(vfs.File) error{
	"write":     func(f vfs.File) error { _, err := f.Write([]byte("x")); return err },
	"write at":  func(f vfs.File) error { _, err := f.WriteAt([]byte("x"), 0); return err },
	"sync":      func(f vfs.File) error { return f.Sync() },
	"sync data": func(f vfs.File) error { return f.SyncData() },
	"sync to":   func(f vfs.File) error { _, err := f.SyncTo(1); return err },
	"close":     func(f vfs.File) error { return f.Close() },
}

// guarded is a guard over a spoilt disk, and where it says what failed.
func guarded(t *testing.T) (g *diskGuard, bad *spoilt, failed chan error) {
	t.Helper()
	bad, failed = &spoilt{}, make(chan error, 1)
	g = &diskGuard{FS: unclosed{bad.over(vfs.NewMem()), bad}, failed: func(err error) { failed <- err }}
	if err := g.MkdirAll("d", 0o700); err != nil {
		t.Fatal(err)
	}
	return g, bad, failed
}

// wantNoReturn runs what must not get control back, and wants the handle told why.
func wantNoReturn(t *testing.T, failed chan error, fn func() error) {
	t.Helper()
	back := make(chan error, 1)
	go func() { back <- fn() }()
	select {
	case err := <-failed:
		if !errors.Is(err, syscall.EIO) {
			t.Errorf("the handle is told %v", err)
		}
	case err := <-back:
		t.Fatalf("the engine goes on with %v", err)
	}
	select {
	case err := <-back:
		t.Errorf("the engine goes on with %v", err)
	case <-time.After(5 * time.Millisecond): // too short only weakens the test
	}
}

// Whichever way a file of the write-ahead log fails: while the store is opened or
// closed the engine hears of it, and between the handle dies and it does not go on.
func TestF06_EachWayALogFileFailsIsTheHandlesDeath_P2(t *testing.T) {
	for name, do := range walWrites {
		t.Run(name, func(t *testing.T) {
			g, bad, failed := guarded(t)
			open := func() vfs.File {
				bad.on.Store(false)
				f, err := g.Create("d/1.log", walCategory)
				if err != nil {
					t.Fatal(err)
				}
				return f
			}
			if err := do(open()); err != nil {
				t.Fatalf("on a good disk: %v", err)
			}
			f := open()
			bad.on.Store(true)
			if err := do(f); !errors.Is(err, syscall.EIO) {
				t.Errorf("while it is opened: %v", err)
			}
			f = open()
			g.armed.Store(true)
			bad.on.Store(true)
			wantNoReturn(t, failed, func() error { return do(f) })
		})
	}
}

// Files of the write-ahead log that can't be made, and folders.
func TestF06_EachWayAFolderFails_P2(t *testing.T) {
	g, bad, failed := guarded(t)
	bad.on.Store(true)
	_, made := g.Create("d/2.log", walCategory)
	_, marked := g.Create("d/marker.format-version.000001.024", "other")
	_, listed := g.OpenDir("d")
	for name, err := range map[string]error{"a file": made, "a marker": marked, "a folder": listed} {
		if !errors.Is(err, syscall.EIO) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := g.Stat("d/marker.format-version.000001.024"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a marker was made though its folder was not synced: %v", err)
	}
	bad.on.Store(false)
	dir, err := g.OpenDir("d")
	if err != nil {
		t.Fatal(err)
	}
	bad.on.Store(true)
	wantNoReturn(t, failed, dir.Sync) // armed or not
	g.armed.Store(true)
	wantNoReturn(t, failed, func() error { _, err := g.Create("d/3.log", walCategory); return err })
	wantNoReturn(t, failed, func() error { _, err := g.ReuseForWrite("d/1.log", "d/3.log", walCategory); return err })
}

// The engine looks for the disk beneath all that lies over it.
func TestTheDiskBeneathIsFound(t *testing.T) {
	disk := vfs.NewMem()
	if vfs.Root(&diskGuard{FS: disk}) != vfs.FS(disk) || vfs.Root(readFS{FS: &diskGuard{FS: disk}}) != vfs.FS(disk) {
		t.Error("another disk is found")
	}
}

// What the engine complains of and survives is said; what it means by it is not the
// handle's death. A flush that was broken off by closing is none either.
func TestWhatTheEngineSurvivesIsSaidAndNoMore(t *testing.T) {
	var said []string
	f := newFailure(func(s string) { said = append(said, s) })
	f.Errorf("table %d is odd", 7)
	e := settings(vfs.NewMem(), f, Options{}, nil).EventListener
	e.DiskSlow(vfs.DiskSlowInfo{Path: "000007.sst", OpType: vfs.OpTypeSync, Duration: 9 * time.Second})
	e.WriteStallBegin(pebble.WriteStallBeginInfo{Reason: "memtable count limit reached"})
	f.background(pebble.ErrCancelledCompaction)
	f.background(pebble.ErrClosed)
	if err := f.err(); err != nil {
		t.Errorf("the handle is dead: %v", err)
	}
	for i, want := range []string{"table 7 is odd", "the disk is slow: ", "the store waits: memtable count limit reached"} {
		if i >= len(said) || !strings.HasPrefix(said[i], want) {
			t.Errorf("said is %q, want %q as number %d", said, want, i)
		}
	}
	if !strings.Contains(said[1], "000007.sst") {
		t.Errorf("said is %q, and not which file", said[1])
	}
	e.DataCorruption(pebble.DataCorruptionInfo{Path: "000009.sst"})
	if err := f.err(); !errors.Is(err, ErrDead) || !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "000009.sst") {
		t.Errorf("after damage the handle says %v", err)
	}
}

// A job that panics is the handle's death, and whoever waits for it hears of it.
func TestAJobThatPanicsIsTheHandlesDeath(t *testing.T) {
	f := newFailure(nil)
	defer close(f.over)
	err := f.run(time.Minute, "job", func() error { panic("a slip") })
	if !errors.Is(err, ErrDead) || !strings.Contains(err.Error(), "a slip") {
		t.Errorf("it says %v", err)
	}
	err = f.run(time.Minute, "job", func() error { t.Error("a job was begun on a dead handle"); return nil })
	if !errors.Is(err, ErrDead) {
		t.Errorf("then it says %v", err)
	}
}

// crowded is a disk that counts who asks it for its room.
type crowded struct {
	vfs.FS
	asked int
	free  uint64
	err   error
}

func (c *crowded) GetDiskUsage(string) (vfs.DiskUsage, error) {
	c.asked++
	return vfs.DiskUsage{AvailBytes: c.free}, c.err
}

// A look at the disk counts for a moment, also on a clock that was put back; a disk
// that does not tell its room is written.
func TestF07_TheDiskIsAskedForItsRoomNowAndThen_P13(t *testing.T) {
	now := time.Unix(1_700_000_000, 0)
	disk := &crowded{free: 1}
	s := space{fs: disk, least: 2, now: func() time.Time { return now }}
	for _, c := range []struct {
		after time.Duration
		asked int
	}{{0, 1}, {time.Millisecond, 1}, {98 * time.Millisecond, 1}, {time.Second, 2}, {-time.Hour, 3}, {time.Millisecond, 3}} {
		now = now.Add(c.after)
		if err := s.check(); !errors.Is(err, ErrDiskFull) || disk.asked != c.asked {
			t.Errorf("%v later: %v, asked %d times, want %d", c.after, err, disk.asked, c.asked)
		}
	}
	now, disk.err = now.Add(time.Second), errors.New("not told")
	if err := s.check(); err != nil {
		t.Errorf("a disk that does not tell its room: %v", err)
	}
}

// Whatever is damaged is said with what is known of it.
func TestDamageIsSaidWithWhatIsKnownOfIt(t *testing.T) {
	cause := errors.New("checksum mismatch")
	for want, err := range map[string]error{
		"damaged on disk":                                errorsJoin(ErrDamaged, "", nil),
		"damaged on disk: checksum mismatch":             errorsJoin(ErrDamaged, "", cause),
		"000007.sst: damaged on disk":                    errorsJoin(ErrDamaged, "000007.sst", nil),
		"000007.sst: damaged on disk: checksum mismatch": errorsJoin(ErrDamaged, "000007.sst", cause),
	} {
		if err.Error() != want || !errors.Is(err, ErrDamaged) || errors.Is(err, cause) != strings.Contains(want, cause.Error()) {
			t.Errorf("%q, want %q", err, want)
		}
	}
}

// A ballast that can't be closed is none.
func TestF07_ABallastThatCanNotBeClosedIsTakenAway_P13(t *testing.T) {
	bad, mem := &spoilt{}, vfs.NewMem()
	disk := &crowded{FS: unclosed{mem, bad}, free: 1 << 40}
	bad.on.Store(true)
	b := ballast{fs: disk, path: "ballast"}
	b.lay("", 0)
	if _, err := mem.Stat("ballast"); disk.asked != 1 || !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("asked %d times, and then %v", disk.asked, err)
	}
}
