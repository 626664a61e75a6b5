package wholefile

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// forgetful is a disk in memory that loses what was not synced, and fails or is
// cut off at one of its operations.
type forgetful struct {
	*vfs.MemFS
	ops   int
	at    int   // the operation to stop at; 0 for none
	fails error // what it fails with; nil cuts the power before it
	left  *vfs.MemFS
}

var errCut = errors.New("the power is off")

func newForgetful(t *testing.T, old string) *forgetful {
	t.Helper()
	d := &forgetful{MemFS: vfs.NewCrashableMem()}
	if err := d.MkdirAll("folder", 0o700); err != nil {
		t.Fatal(err)
	}
	if old != "" {
		if err := writeFrom(d, "folder/file", text(old)); err != nil {
			t.Fatal(err)
		}
	}
	for _, dir := range []string{"folder", "/"} {
		if err := d.syncFolder(dir); err != nil {
			t.Fatal(err)
		}
	}
	d.ops = 0
	return d
}

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

func (d *forgetful) step() error {
	if d.ops++; d.ops != d.at || d.left != nil {
		if d.left != nil {
			return errCut
		}
		return nil
	}
	if d.fails != nil {
		return d.fails
	}
	d.left = d.crash()
	return errCut
}

// crash is the disk as it is found after the power went.
func (d *forgetful) crash() *vfs.MemFS {
	return d.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 0, RNG: rand.New(rand.NewPCG(1, 1))})
}

func (d *forgetful) create(dir string) (string, file, error) {
	if err := d.step(); err != nil {
		return "", nil, err
	}
	name := dir + "/.part"
	f, err := d.Create(name, vfs.WriteCategoryUnspecified)
	return name, &stepping{f, d}, err
}

func (d *forgetful) rename(from, to string) error {
	if err := d.step(); err != nil {
		return err
	}
	return d.Rename(from, to)
}

func (d *forgetful) remove(name string) error {
	if err := d.step(); err != nil {
		return err
	}
	return d.Remove(name)
}

func (d *forgetful) syncFolder(dir string) error {
	if err := d.step(); err != nil {
		return err
	}
	f, err := d.OpenDir(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// stepping is a file of it.
type stepping struct {
	vfs.File
	d *forgetful
}

func (f *stepping) Write(b []byte) (int, error) {
	if err := f.d.step(); err != nil {
		return 0, err
	}
	return f.File.Write(b)
}

func (f *stepping) Sync() error {
	if err := f.d.step(); err != nil {
		return err
	}
	return f.File.Sync()
}

func read(t *testing.T, fs vfs.FS) string {
	t.Helper()
	f, err := fs.Open("folder/file")
	if err != nil {
		return ""
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestF02_AWrittenFileOutlivesAPowerCut(t *testing.T) {
	for _, old := range []string{"", "old"} {
		d := newForgetful(t, old)
		if err := writeFrom(d, "folder/file", text("new")); err != nil {
			t.Fatal(err)
		}
		if got := read(t, d.crash()); got != "new" {
			t.Errorf("over %q: after the cut it has %q", old, got)
		}
	}
}

func TestF02_APowerCutAtAnyPointLeavesTheOldOrTheNewWhole(t *testing.T) {
	points := 0
	for _, old := range []string{"", "old"} {
		for at := 1; ; at++ {
			d := newForgetful(t, old)
			d.at = at
			err := writeFrom(d, "folder/file", text("new"))
			if err == nil {
				break
			}
			points++
			if got := read(t, d.left); got != old && got != "new" {
				t.Errorf("over %q, cut before operation %d: it has %q", old, at, got)
			}
		}
	}
	if points < 10 {
		t.Errorf("%d points were tried", points)
	}
}

func TestF07_AFailureAnywhereLeavesTheOldFileAndNothingBeside(t *testing.T) {
	full := errors.New("no space left")
	for at := 1; ; at++ {
		d := newForgetful(t, "old")
		d.at, d.fails = at, full
		err := writeFrom(d, "folder/file", text("new"))
		if err == nil {
			if at < 5 {
				t.Errorf("%d points were tried", at-1)
			}
			return
		}
		if !errors.Is(err, full) {
			t.Errorf("operation %d: %v", at, err)
		}
		got, want := read(t, d.MemFS), "old"
		if bytes.Contains([]byte(err.Error()), []byte("is written")) {
			want = "new"
		}
		if got != want {
			t.Errorf("operation %d: it has %q (%v)", at, got, err)
		}
		if list, err := d.List("folder"); err != nil || len(list) != 1 {
			t.Errorf("operation %d leaves %v (%v)", at, list, err)
		}
	}
}

func TestAFileIsForItsOwnerOnlyAndItsErrorsAreSaid(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "key")
	for _, s := range []string{"first", "second"} {
		if err := Write(path, []byte(s)); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path)
		if err != nil || string(b) != s {
			t.Fatalf("it has %q (%v)", b, err)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v (%v)", info.Mode(), err)
	}
	own := errors.New("nothing to say")
	if err := WriteFrom(path, func(io.Writer) error { return own }); !errors.Is(err, own) {
		t.Errorf("got %v", err)
	}
	if err := Write(filepath.Join(dir, "not", "here"), nil); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("left: %v (%v)", list, err)
	}
}
