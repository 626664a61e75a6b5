// Package sharedtest finds the reference tables that lie beside the project:
// published data and values computed outside it. A fresh clone does not have
// them, so a test that wants one skips with a sentence; where OLDHAND_MUST is
// set, as .ci/run sets it, a missing table is a failure instead. It also finds an
// interface on which multicast works, for tests that need one.
//
// It imports nothing of ours, so any package's tests may use it.
package sharedtest

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"testing"
)

// Must reports whether a test may not skip what it can't find.
func Must() bool { return os.Getenv("OLDHAND_MUST") != "" }

// Skip skips the test with a sentence, or fails it where nothing may be skipped.
func Skip(t testing.TB, why string) {
	t.Helper()
	if Must() {
		t.Fatalf("%s, and OLDHAND_MUST is set", why)
	}
	t.Skip(why)
}

// Path gives the path of a reference file, named from the folder shared beside
// the project's root, such as "checkdata/levels.csv".
func Path(t testing.TB, name string) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test's folder")
		}
		dir = up
	}
	path := filepath.Join(dir, "..", "shared", filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		Skip(t, "the reference file shared/"+name+" does not lie beside the project")
	}
	return path
}

// Rows reads a reference table as maps from its headings to its cells.
func Rows(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	all, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(all) < 2 {
		t.Fatalf("%s: no rows", name)
	}
	rows := make([]map[string]string, 0, len(all)-1)
	for _, cells := range all[1:] {
		row := make(map[string]string, len(cells))
		for i, c := range cells {
			row[all[0][i]] = c
		}
		rows = append(rows, row)
	}
	return rows
}

// SmallDisk mounts a small disk in memory until the test is over, or skips where
// that is not allowed.
func SmallDisk(t testing.TB, options string) string {
	t.Helper()
	dir := t.TempDir()
	if err := MountTmpfs(dir, options); err != nil {
		Skip(t, "a small disk can't be mounted here: "+err.Error())
	}
	t.Cleanup(func() {
		if err := unmount(dir); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return dir
}
