package web_test

import (
	"os"
	"path/filepath"
	"testing"
)

// inventedIn is where the invented shop of all tests is made.
var inventedIn string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "oldhand-web-")
	if err != nil {
		panic(err)
	}
	inventedIn = dir
	code := m.Run()
	endSharedBrowser()
	if err := os.RemoveAll(dir); err != nil {
		panic(err)
	}
	os.Exit(code)
}

func copyFolder(t testing.TB, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	for _, d := range []string{to, filepath.Join(to, "keys"), filepath.Join(to, "store")} {
		if err := os.Chmod(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
}
