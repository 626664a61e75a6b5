package eventstest

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Kept are bytes of one form that every later program must read: the folder
// Root holds a .hex of each name, and beside it a .txt with what is read there.
type Kept struct {
	Root  string
	Names []string // of the examples there must be
	Make  func(t *testing.T, name string) []byte
	Read  func(b []byte) (string, error)
}

// Check fails if an example is missing, or if any of the kept bytes can't be
// read or say something else than they did.
func (k Kept) Check(t *testing.T) {
	for _, name := range k.Names {
		if _, err := os.Stat(k.path(name, ".hex")); err != nil {
			t.Errorf("%v: go test with -run GoldenAdd$ -add-golden %s", err, name)
		}
	}
	for _, path := range k.Paths(t) {
		t.Run(filepath.Base(path), func(t *testing.T) {
			want, err := os.ReadFile(strings.TrimSuffix(path, ".hex") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			text, err := k.Read(KeptBytes(t, path))
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), text); d != "" {
				t.Errorf("they say something else (-kept +read):\n%s", d)
			}
		})
	}
}

// CheckReadme fails if the README beside the kept bytes leaves out what one
// needs to read them.
func (k Kept) CheckReadme(t *testing.T, needed ...string) {
	b, err := os.ReadFile(filepath.Join(k.Root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range needed {
		if !bytes.Contains(b, []byte(s)) {
			t.Errorf("%s/README.md does not say %s", k.Root, s)
		}
	}
}

// CheckAdd fails if adding writes over bytes that are there, or makes some for
// no example.
func (k Kept) CheckAdd(t *testing.T) {
	k.Root = t.TempDir()
	name := k.Names[0]
	if err := k.Add(t, name); err != nil {
		t.Fatal(err)
	}
	kept := k.path(name, ".hex")
	if err := os.WriteFile(kept, []byte("00\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := k.Add(t, name); err == nil {
		t.Error("wrote the bytes of an example that has them")
	}
	if b, _ := os.ReadFile(kept); string(b) != "00\n" {
		t.Error("kept bytes were written again")
	}
	if err := k.Add(t, "no example"); err == nil {
		t.Error("made bytes for no example")
	}
}

// Add writes the bytes of an example that has none yet.
func (k Kept) Add(t *testing.T, name string) error {
	if !slices.Contains(k.Names, name) {
		return fmt.Errorf("no example is named %q", name)
	}
	b := k.Make(t, name)
	text, err := k.Read(b)
	if err != nil {
		return err
	}
	if err := writeOnce(k.path(name, ".hex"), hexLines(b)); err != nil {
		return err
	}
	return writeOnce(k.path(name, ".txt"), text)
}

// Paths are the files of all kept bytes.
func (k Kept) Paths(t testing.TB) []string {
	paths, err := filepath.Glob(k.path("*", ".hex"))
	if err != nil {
		t.Fatal(err)
	}
	return paths
}

func (k Kept) path(name, ext string) string { return filepath.Join(k.Root, name+ext) }

// KeptBytes reads a file of hexadecimal digits and white space.
func KeptBytes(t testing.TB, path string) []byte {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func hexLines(b []byte) string {
	var s strings.Builder
	for line := range slices.Chunk(b, 32) {
		fmt.Fprintf(&s, "%x\n", line)
	}
	return s.String()
}

func writeOnce(file, s string) error {
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.WriteString(s); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
