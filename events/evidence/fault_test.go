package evidence_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/evidence"
	"oldhand/events/sharedtest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// changes reports whether an operation changes the disk or makes it durable.
func changes(op errorfs.Op) bool {
	switch op.Kind {
	case errorfs.OpCreate, errorfs.OpMkdirAll, errorfs.OpRename, errorfs.OpRemove, errorfs.OpFileWrite, errorfs.OpFileWriteAt,
		errorfs.OpFileSync, errorfs.OpFileSyncData, errorfs.OpFileSyncTo, errorfs.OpOpenDir, errorfs.OpOpen, errorfs.OpFileClose:
		return true
	}
	return false
}

// at is a disk on which something happens at the k-th change.
func at(disk vfs.FS, k int, happens func() error) (vfs.FS, *int) {
	n := new(int)
	return errorfs.Wrap(disk, errorfs.InjectorFunc(func(op errorfs.Op) error {
		if !changes(op) {
			return nil
		}
		if *n++; *n == k {
			return happens()
		}
		return nil
	})), n
}

// story puts two pieces, drops one and fetches a third, and gives the hashes of
// those that were said to be kept.
func story(fs vfs.FS) (said []events.Hash, dropped bool, err error) {
	s := evidence.New(evidence.Options{Dir: "shop/evidence", FS: fs})
	a, err := s.Put(bytes.NewReader(pdf(1, 70_000)))
	if err != nil {
		return said, false, err
	}
	said = append(said, a.Content)
	b, err := s.Put(bytes.NewReader(pdf(2, 100)))
	if err != nil {
		return said, false, err
	}
	said = append(said, b.Content)
	if err := s.Drop(a.Content); err != nil {
		return said[1:], false, err // it may be gone
	}
	said = said[1:]
	f, err := s.Fetch()
	if err != nil {
		return said, true, err
	}
	defer f.Close()
	third := pdf(3, 130_000)
	h := hashOf(third)
	c, err := f.Piece(h, int64(len(third)), 50_000)
	if err != nil {
		return said, true, err
	}
	for part := range slicesOf(third[c.Have():], 50_000) {
		if err := c.Add(part); err != nil {
			return said, true, errors.Join(err, c.Close())
		}
	}
	if err := errors.Join(c.Keep(), c.Close()); err != nil {
		return said, true, err
	}
	return append(said, h), true, nil
}

func mem(t testing.TB) *vfs.MemFS {
	t.Helper()
	disk := vfs.NewCrashableMem()
	if err := disk.MkdirAll("shop", 0o700); err != nil {
		t.Fatal(err)
	}
	root, err := disk.OpenDir("")
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(root.Sync(), root.Close()); err != nil {
		t.Fatal(err)
	}
	return disk
}

// Power is lost at every single change of the disk, with none, half and all of
// what was not synced on it: what was said to be kept is there whole, and
// nothing is there that is not whole.
func TestF01_F02_PowerLostAtEachStep_P1_P2(t *testing.T) {
	fs, n := at(mem(t), -1, nil)
	if _, _, err := story(fs); err != nil {
		t.Fatal(err)
	}
	if *n < 30 {
		t.Fatalf("only %d changes seen", *n)
	}
	for k := 1; k <= *n+1; k++ {
		for _, percent := range []int{0, 50, 100} {
			disk := mem(t)
			off := errors.New("power is off")
			var after *vfs.MemFS
			cut := false
			fs := errorfs.Wrap(disk, errorfs.InjectorFunc(steps(k, func() {
				cut = true
				after = disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rand.New(rand.NewPCG(uint64(k), 1))})
			}, off)))
			said, dropped, err := story(fs)
			if !cut {
				if err != nil {
					t.Fatal(err)
				}
				after = disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rand.New(rand.NewPCG(uint64(k), 1))})
			}
			sound(t, fmt.Sprintf("change %d, %d %%", k, percent), after, said, dropped)
		}
	}
}

// steps lets power go at the k-th change; nothing works from then on.
func steps(k int, cut func(), off error) func(errorfs.Op) error {
	n, gone := 0, false
	return func(op errorfs.Op) error {
		if gone {
			return off
		}
		if !changes(op) {
			return nil
		}
		if n++; n == k {
			gone = true
			cut()
			return off
		}
		return nil
	}
}

func sound(t testing.TB, when string, disk *vfs.MemFS, said []events.Hash, dropped bool) {
	t.Helper()
	s := evidence.New(evidence.Options{Dir: "shop/evidence", FS: disk})
	for _, h := range said {
		f, err := s.Open(h)
		if err != nil {
			t.Fatalf("%s: said to be kept: %v", when, err)
		}
		_ = f.Close()
	}
	res, err := s.Scrub(nil)
	if err != nil || len(res.Damaged) > 0 {
		t.Fatalf("%s: %+v, %v", when, res, err)
	}
	if dropped {
		if _, here, err := s.Size(hashOf(pdf(1, 70_000))); here || err != nil {
			t.Fatalf("%s: said to be dropped and is here (%v)", when, err)
		}
	}
	_, _, err = story(disk) // it works as before,
	if errors.Is(err, evidence.ErrDamaged) {
		_, _, err = story(disk) // at the second go where power took bytes of what was being fetched
	}
	if err != nil {
		t.Fatalf("%s: afterwards: %v", when, err)
	}
}

// Each change of the disk fails once for want of room: the answer says so,
// nothing half is under kept, and with room it goes well.
func TestF07_DiskFullAtEachStep_P13(t *testing.T) {
	failed := 0
	for k := 1; k < 200; k++ {
		disk := mem(t)
		fs, n := at(disk, k, func() error { return syscall.ENOSPC })
		_, _, err := story(fs)
		if *n < k {
			break
		}
		if err != nil {
			failed++
			if !errors.Is(err, syscall.ENOSPC) {
				t.Fatalf("change %d: %v", k, err)
			}
		}
		sound(t, fmt.Sprint("change ", k), disk, nil, false)
	}
	if failed < 20 {
		t.Fatalf("only %d of the changes failed", failed)
	}
}

// A real small disk.
func TestF07_ARealFullDisk_P13(t *testing.T) {
	dir := filepath.Join(sharedtest.SmallDisk(t, "size=1m"), "evidence")
	s := evidence.New(evidence.Options{Dir: dir})
	first := put(t, s, pdf(1, 500_000))
	_, err := s.Put(bytes.NewReader(pdf(2, 700_000)))
	wantErr(t, err, evidence.ErrFull)
	if list := files(t, filepath.Join(dir, "coming")); len(list) != 0 {
		t.Errorf("left behind: %v", list)
	}
	if !bytes.Equal(read(t, s, first.Content), pdf(1, 500_000)) {
		t.Error("the first is spoiled")
	}
	if err := os.Remove(filepath.Join(dir, "kept", first.Content.String())); err != nil {
		t.Fatal(err)
	}
	put(t, s, pdf(2, 700_000))
}

func TestRoomIsLeftOnTheDisk_P13(t *testing.T) {
	disk := &roomy{MemFS: mem(t), free: 100 << 20}
	s := evidence.New(evidence.Options{Dir: "shop/evidence", FS: disk, LeastFree: 100 << 20})
	put(t, s, pdf(1, 10))
	disk.free--
	_, err := s.Put(bytes.NewReader(pdf(2, 10)))
	wantErr(t, err, evidence.ErrFull)
	f, err := s.Fetch()
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	_, err = f.Piece(events.Hash{1}, 10, 10)
	wantErr(t, err, evidence.ErrFull)
}

type roomy struct {
	*vfs.MemFS
	free uint64
}

func (r *roomy) GetDiskUsage(string) (vfs.DiskUsage, error) {
	return vfs.DiskUsage{AvailBytes: r.free}, nil
}
