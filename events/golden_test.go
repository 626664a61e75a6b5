package events_test

import (
	"bytes"
	"encoding/hex"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"oldhand/events"

	"github.com/google/go-cmp/cmp"
)

var (
	addGolden = flag.String("add-golden", "", "write the kept bytes that the named kind does not have yet")
	rewrite   = flag.Bool("rewrite", false, "write the texts beside the kept bytes anew; the bytes stay")
)

// keptRoot is where every kind has its folder.
const keptRoot = "../testdata/events"

// Whatever a shop recorded with an older program must open in this one: each
// kept record is read, says what it said, and encodes to the bytes it was
// (RFC 8949 section 4.2, core deterministic).
func TestGoldenBytesDecodeForEver(t *testing.T) {
	for _, path := range keptRecords(t) {
		t.Run(strings.TrimPrefix(path, keptRoot+"/"), func(t *testing.T) {
			rec := keptRecord(t, path)
			text := readable(t, rec)
			beside := strings.TrimSuffix(path, ".hex") + ".txt"
			if *rewrite {
				write(t, beside, text, 0)
			}
			want, err := os.ReadFile(beside)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), text); d != "" {
				t.Errorf("the record says something else (-kept +read):\n%s", d)
			}
			checkEncodesAgain(t, rec)
		})
	}
}

func checkEncodesAgain(t *testing.T, rec []byte) {
	t.Helper()
	env, raw, err := events.DecodeRecord(rec)
	if err != nil {
		t.Fatal(err)
	}
	body, err := events.DecodeBody(env.Kind, env.Version, raw)
	if err != nil {
		t.Fatal(err)
	}
	if err := body.Validate(); err != nil {
		t.Errorf("the body is not valid any more: %v", err)
	}
	again, err := events.EncodeRecord(env, encoded(body))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(again, rec) {
		t.Errorf("encodes to other bytes\nkept  %x\nagain %x", rec, again)
	}
}

func TestGoldenEveryKindHasAFolderAndEveryFolderAKind(t *testing.T) {
	for _, r := range events.Kinds {
		for _, e := range examples(r.Kind) {
			if _, err := os.Stat(keptPath(r.Name, e.name)); err != nil {
				t.Errorf("%s has no kept bytes %s: go test ./events -add-golden %s", r.Name, e.name, r.Name)
			}
		}
	}
	dirs, err := os.ReadDir(keptRoot)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range dirs {
		if _, ok := events.KindNamed(d.Name()); !ok && d.Name() != "README.md" {
			t.Errorf("testdata/events/%s: no kind has this name; a kind keeps its name for ever", d.Name())
		}
	}
}

// The folder's name is the kind's, so the number in the bytes must be too.
func TestGoldenBytesLieInTheFolderOfTheirKind(t *testing.T) {
	for _, path := range keptRecords(t) {
		env, _, err := events.DecodeRecord(keptRecord(t, path))
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if dir := filepath.Base(filepath.Dir(path)); env.Kind.String() != dir {
			t.Errorf("%s holds a %s", path, env.Kind)
		}
	}
}

// With -add-golden no test runs: it adds the bytes and is done, so that what is
// missing until then does not look like a failure.
func TestMain(m *testing.M) {
	flag.Parse()
	if *addGolden == "" {
		os.Exit(m.Run())
	}
	if err := addKept(keptRoot, *addGolden); err != nil {
		fmt.Fprintln(os.Stderr, "add kept bytes:", err)
		os.Exit(1)
	}
}

func TestGoldenAddRefusesToWriteBytesAgain(t *testing.T) {
	root := t.TempDir()
	if err := addKept(root, "note"); err != nil {
		t.Fatal(err)
	}
	kept := filepath.Join(root, "note", "1-full.hex")
	write(t, kept, "00\n", 0)
	if err := addKept(root, "note"); err == nil {
		t.Error("wrote the bytes of a kind that has them")
	}
	if err := os.Remove(filepath.Join(root, "note", "2-least.hex")); err != nil {
		t.Fatal(err)
	}
	if err := addKept(root, "note"); err == nil {
		t.Error("wrote over a text whose bytes are gone")
	}
	if b, _ := os.ReadFile(kept); string(b) != "00\n" {
		t.Error("kept bytes were written again")
	}
	if err := addKept(root, "no.kind"); err == nil {
		t.Error("made a folder for no kind")
	}
}

// addKept writes the examples of a kind that are not kept yet.
func addKept(root, kind string) error {
	r, ok := events.KindNamed(kind)
	if !ok {
		return fmt.Errorf("no kind is named %q", kind)
	}
	added := 0
	for _, e := range examples(r.Kind) {
		path := filepath.Join(root, kind, e.name)
		if _, err := os.Stat(path + ".hex"); err == nil {
			continue
		}
		text, err := reading(e.record())
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		for name, s := range map[string]string{path + ".hex": hexLines(e.record()), path + ".txt": text} {
			if err := writeFile(name, s, os.O_EXCL); err != nil {
				return err
			}
		}
		added++
	}
	if added == 0 {
		return fmt.Errorf("%s has its kept bytes; they are never written again", kind)
	}
	return nil
}

func keptPath(kind, example string) string {
	return filepath.Join(keptRoot, kind, example+".hex")
}

// keptRecords lists all kept records.
func keptRecords(t testing.TB) (paths []string) {
	err := filepath.WalkDir(keptRoot, func(path string, d fs.DirEntry, err error) error {
		if strings.HasSuffix(path, ".hex") {
			paths = append(paths, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(paths)
	return paths
}

func keptRecord(t testing.TB, path string) []byte {
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return unhex(t, string(text))
}

// unhex reads hexadecimal digits and lets white space and comments behind ;
// stand between them.
func unhex(t testing.TB, text string) []byte {
	t.Helper()
	var digits strings.Builder
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, ";")
		digits.WriteString(strings.Join(strings.Fields(line), ""))
	}
	b, err := hex.DecodeString(digits.String())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func hexLines(rec []byte) string {
	var s strings.Builder
	for line := range slices.Chunk(rec, 32) {
		fmt.Fprintf(&s, "%x\n", line)
	}
	return s.String()
}

func write(t *testing.T, name, s string, flags int) {
	t.Helper()
	if err := writeFile(name, s, flags); err != nil {
		t.Fatal(err)
	}
}

// writeFile writes a file; with O_EXCL only one that is not there.
func writeFile(name, s string, flags int) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_TRUNC|flags, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.WriteString(s); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
