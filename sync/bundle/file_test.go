package bundle_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"oldhand/events/eventstest"
	"oldhand/sync/bundle"
	"oldhand/sync/seal"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// large is a parcel of which a bundle takes several writes.
func large(t testing.TB) parcel {
	p := pack(t, 1, 3)
	for len(p.segments) < 1600 {
		p.segments = append(p.segments, p.segments[:3]...)
	}
	return p
}

func TestABundleIsWrittenToAFile(t *testing.T) {
	p := large(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "shop.bundle")
	for range 2 { // the second time over the first
		if err := bundle.WriteFile(path, named(p.options()), p.fill); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(b, p.bytes(t)) {
			t.Fatalf("%d bytes, %v", len(b), err)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("left beside: %v, %v", left, err)
	}
}

func TestABundleThatIsNotFinishedLeavesTheOldFile_F8(t *testing.T) {
	p, asked := large(t), errors.New("the log went away")
	dir := t.TempDir()
	path := filepath.Join(dir, "shop.bundle")
	fill := func(w *bundle.Writer) error { return errors.Join(p.fill(w), asked) }
	check := func(want int) {
		t.Helper()
		err := bundle.WriteFile(path, p.options(), fill)
		if !errors.Is(err, asked) || !strings.Contains(err.Error(), path) {
			t.Errorf("says %v", err)
		}
		left, err := os.ReadDir(dir)
		if err != nil || len(left) != want {
			t.Errorf("left: %v, %v", left, err)
		}
	}
	check(0)
	if err := os.WriteFile(path, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	check(1)
	if b, err := os.ReadFile(path); string(b) != "old" {
		t.Errorf("the old file is %q, %v", b, err)
	}
	nowhere := filepath.Join(dir, "no", "such", "folder", "x")
	if err := bundle.WriteFile(nowhere, p.options(), p.fill); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), nowhere) {
		t.Errorf("into no folder: %v", err)
	}
	o := p.options()
	o.Random = strings.NewReader("")
	if err := bundle.WriteFile(path, o, p.fill); !errors.Is(err, io.EOF) {
		t.Errorf("without randomness: %v", err)
	}
}

const onStick = "stick/shop.bundle"

// stick is a medium that has an old bundle, if it is to, safely on it.
func stick(t *testing.T, old []byte) *vfs.MemFS {
	t.Helper()
	fs := vfs.NewCrashableMem()
	err := fs.MkdirAll("stick", 0o755)
	if err == nil && old != nil {
		err = put(fs, old)
	}
	if err == nil {
		err = errors.Join(syncDir(fs, "stick"), syncDir(fs, ""))
	}
	if err != nil {
		t.Fatal(err)
	}
	return fs
}

func put(fs vfs.FS, b []byte) error {
	f, err := fs.Create(onStick, vfs.WriteCategoryUnspecified)
	if err != nil {
		return err
	}
	_, err = f.Write(bytes.Clone(b)) // a file may change what it is given
	return errors.Join(err, f.Sync(), f.Close())
}

func syncDir(fs vfs.FS, dir string) error {
	d, err := fs.OpenDir(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// found reads what a medium has under the bundle's path, nil for nothing.
func found(t *testing.T, fs vfs.FS) []byte {
	t.Helper()
	f, err := fs.Open(onStick)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// isOldOrNew checks that a medium has the old file as it was or the new whole.
func isOldOrNew(t *testing.T, fs vfs.FS, old, whole []byte, what string) {
	t.Helper()
	if b := found(t, fs); !bytes.Equal(b, old) && !bytes.Equal(b, whole) || (b == nil) != (old == nil) && !bytes.Equal(b, whole) {
		t.Errorf("%s: the file has %d bytes, the old one %d, the new one %d", what, len(b), len(old), len(whole))
	}
}

func TestAPulledStickHasTheOldFileOrTheNewOne_F8(t *testing.T) {
	p := large(t)
	whole := p.bytes(t)
	for name, old := range map[string][]byte{"no old file": nil, "an old file": []byte("old")} {
		fs := stick(t, old)
		ops := 0
		watch := errorfs.Wrap(fs, errorfs.InjectorFunc(func(op errorfs.Op) error {
			ops++
			for _, percent := range []int{0, 50, 100} {
				clone := fs.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rand.New(rand.NewPCG(uint64(ops), uint64(percent)))})
				isOldOrNew(t, clone, old, whole, fmt.Sprintf("%s, pulled before %v %s, %d%% unsynced kept", name, op.Kind, op.Path, percent))
			}
			return nil
		}))
		if err := bundle.WriteFileOn(watch, onStick, named(p.options()), p.fill); err != nil {
			t.Fatal(err)
		}
		if ops < 8 {
			t.Fatalf("only %d operations: the test looks in the wrong place", ops)
		}
		after := fs.CrashClone(vfs.CrashCloneCfg{})
		if b := found(t, after); !bytes.Equal(b, whole) {
			t.Errorf("%s: said to be written, pulled after, %d bytes are there", name, len(b))
		}
	}
}

// named makes the options good for any number of files, each with its name.
func named(o bundle.Options) bundle.Options {
	o.Random = io.MultiReader(strings.NewReader("name"), o.Random)
	return o
}

// The medium fails at one operation and at all that follow, or at that one
// alone: full for a moment.
func TestAMediumThatFailsLeavesTheOldFileOrTheNewOne_F7_F8_P13(t *testing.T) {
	p, gone := large(t), errors.New("no such device")
	whole, old := p.bytes(t), []byte("old")
	for _, forGood := range []bool{true, false} {
		failed := 0
		for k := 1; ; k++ {
			fs, op := stick(t, old), 0
			bad := errorfs.Wrap(fs, errorfs.InjectorFunc(func(errorfs.Op) error {
				if op++; op == k || op > k && forGood {
					return gone
				}
				return nil
			}))
			err := bundle.WriteFileOn(bad, onStick, named(p.options()), p.fill)
			isOldOrNew(t, fs, old, whole, fmt.Sprintf("failing at operation %d", k))
			if op < k {
				break
			}
			if err == nil || !strings.Contains(err.Error(), onStick) {
				t.Errorf("failing at operation %d: says %v", k, err)
			}
			if failed++; !forGood {
				checkNothingBeside(t, fs, k)
			}
		}
		if failed < 8 {
			t.Fatalf("only %d operations failed: the test looks in the wrong place", failed)
		}
	}
}

func checkNothingBeside(t *testing.T, fs vfs.FS, k int) {
	t.Helper()
	names, err := fs.List("stick")
	if err != nil || len(names) != 1 {
		t.Errorf("failing at operation %d once leaves %v, %v", k, names, err)
	}
}

// A file may change what it is given to write; segments stay as they were.
func TestWritingABundleLeavesTheSegmentsAsTheyWere(t *testing.T) {
	p := pack(t, 1, 1)
	sealed := bytes.Clone(p.segments[0])
	largest := append(sealed, bytes.Repeat([]byte{7}, seal.MaxSealed-len(sealed))...) // its place can be read, which is all that Add asks
	kept := bytes.Clone(largest)
	var out bytes.Buffer
	w, err := bundle.NewWriter(spoiling{&out}, p.options())
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if err := w.Add(largest); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(largest, kept) {
		t.Error("the segment was changed")
	}
	if given, rep, err := p.read(out.Bytes(), keys); err != nil || rep.Err() != nil || len(given) != 3 || !bytes.Equal(given[2], kept) {
		t.Errorf("%d segments, %v, %v", len(given), err, rep.Err())
	}
}

// spoiling changes what it is given, as vfs.File may.
type spoiling struct{ w io.Writer }

func (s spoiling) Write(p []byte) (int, error) {
	n, err := s.w.Write(p)
	clear(p)
	return n, err
}

// A file that can't even be removed is named, so that somebody else can.
func TestWhatIsLeftBesideIsNamed(t *testing.T) {
	p, gone := pack(t, 1, 1), errors.New("read-only")
	fs := stick(t, nil)
	bad := errorfs.Wrap(fs, errorfs.InjectorFunc(func(op errorfs.Op) error {
		if op.Kind == errorfs.OpFileSync || op.Kind == errorfs.OpRemove {
			return gone
		}
		return nil
	}))
	err := bundle.WriteFileOn(bad, onStick, named(p.options()), p.fill)
	names, _ := fs.List("stick") // an error shows as no names
	if len(names) != 1 || !errors.Is(err, gone) || !strings.Contains(err.Error(), names[0]) {
		t.Errorf("left %v, says %v", names, err)
	}
}

// Two benches that write to one stick at once do not write into one file.
func TestTwoWritersDoNotShareTheFileBeside(t *testing.T) {
	p := pack(t, 1, 3)
	path := filepath.Join(t.TempDir(), "shop.bundle")
	second := p.options()
	second.Random = eventstest.Seeded(99)
	err := bundle.WriteFile(path, p.options(), func(w *bundle.Writer) error {
		return errors.Join(bundle.WriteFile(path, second, p.fill), p.fill(w))
	})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if given, rep, err := p.read(b, keys); err != nil || rep.Err() != nil || len(given) != 3 {
		t.Errorf("%d segments, %v, %v", len(given), err, rep.Err())
	}
}
