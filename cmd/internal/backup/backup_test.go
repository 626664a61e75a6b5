package backup_test

import (
	"archive/tar"
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"oldhand/cmd/internal/backup"
	"oldhand/events/sharedtest"

	"github.com/klauspost/compress/zstd"
)

var card = backup.Card{Shop: "s", Name: "Quarry Lane Radio", Bench: "front", Made: "2026-03-02T10:00:00Z", Events: 3, Feeds: 1, Heads: "ab"}

// folder has a few files, also an empty one and one in a folder.
func folder(t testing.TB) (dir string, files []backup.File) {
	t.Helper()
	dir = t.TempDir()
	for name, size := range map[string]int{"shop.json": 20, "keys/bench.key": 0, "store/000001.sst": 5000} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		b := bytes.Repeat([]byte(name), size)[:size]
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, b, 0o600)); err != nil {
			t.Fatal(err)
		}
		files = append(files, backup.File{Name: name, Path: path, Size: int64(size)})
	}
	return dir, files
}

func pack(t testing.TB, passphrase string) (dir string, b []byte) {
	t.Helper()
	dir, files := folder(t)
	var w bytes.Buffer
	if err := backup.Pack(&w, card, files, passphrase, nil); err != nil {
		t.Fatal(err)
	}
	return dir, w.Bytes()
}

func same(t *testing.T, a, b string) {
	t.Helper()
	if out, err := exec.Command("diff", "-r", a, b).CombinedOutput(); err != nil {
		t.Errorf("%s", out)
	}
}

func TestWhatIsPackedComesOutAgain(t *testing.T) {
	for _, passphrase := range []string{"", "correct horse"} {
		if testing.Short() && passphrase != "" {
			continue
		}
		dir, b := pack(t, passphrase)
		to := filepath.Join(t.TempDir(), "deep", "shop")
		c, err := backup.Unpack(bytes.NewReader(b), to, passphrase, nil)
		if err != nil {
			t.Fatal(err)
		}
		if c.Name != card.Name || c.Files != 3 || c.Bytes != 5020 {
			t.Errorf("the card says %+v", c)
		}
		same(t, dir, to)
		if _, err := backup.Unpack(bytes.NewReader(b), to, passphrase, nil); err == nil {
			t.Error("unpacked over a folder that is there")
		}
	}
}

// A small file that is replaced after the folder was listed, by a longer or a shorter
// one, is packed whole as it is then.
func TestASmallFileThatIsReplacedMeanwhileIsPackedWhole(t *testing.T) {
	for _, text := range []string{`{"events":7}`, "", "a text that is longer than the file that was listed"} {
		dir, files := folder(t)
		if err := os.WriteFile(filepath.Join(dir, "shop.json"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		var w bytes.Buffer
		if err := backup.Pack(&w, card, files, "", nil); err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(t.TempDir(), "shop")
		if _, err := backup.Unpack(&w, to, "", nil); err != nil {
			t.Errorf("replaced by %d bytes: %v", len(text), err)
			continue
		}
		same(t, dir, to)
	}
}

// The programs of the formats unpack it and check its sums.
func TestOtherProgramsUnpackIt(t *testing.T) {
	for _, program := range []string{"zstd", "tar", "sha256sum"} {
		if _, err := exec.LookPath(program); err != nil {
			sharedtest.Skip(t, "there is no "+program+" on this machine")
		}
	}
	dir, b := pack(t, "")
	to := t.TempDir()
	cmd := exec.Command("sh", "-c", "zstd -d | tar x && sha256sum -c SHA256SUMS && rm SHA256SUMS backup.json")
	cmd.Dir, cmd.Stdin = to, bytes.NewReader(b)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	same(t, dir, to)
}

// nothing checks that an unpacking that failed left no file and no folder.
func nothing(t *testing.T, how string, b []byte, passphrase string, want error) {
	t.Helper()
	in := t.TempDir()
	_, err := backup.Unpack(bytes.NewReader(b), filepath.Join(in, "shop"), passphrase, nil)
	if !errors.Is(err, want) {
		t.Fatalf("%s: %v, want %v", how, err, want)
	}
	if left, err := os.ReadDir(in); err != nil || len(left) > 0 {
		t.Fatalf("%s: %v is left (%v)", how, left, err)
	}
}

func TestEveryCutAndEveryFlippedByteIsFound_P13(t *testing.T) {
	dir, b := pack(t, "")
	for n := range b {
		want := backup.ErrBroken
		if n < 4 {
			want = backup.ErrOther
		}
		nothing(t, fmt.Sprint("cut at ", n), b[:n], "", want)
	}
	for i := range b {
		bad := bytes.Clone(b)
		bad[i] ^= 0x40
		in := t.TempDir()
		if _, err := backup.Unpack(bytes.NewReader(bad), filepath.Join(in, "shop"), "", nil); err == nil { // a bit that means nothing
			same(t, dir, filepath.Join(in, "shop"))
		}
	}
	nothing(t, "with more behind it", append(bytes.Clone(b), "more"...), "", backup.ErrBroken)
}

func TestASealedOneTellsNothingAndOpensWithItsPassphraseOnly(t *testing.T) {
	if testing.Short() {
		t.Skip("a passphrase takes its time on purpose")
	}
	_, b := pack(t, "correct horse")
	if bytes.Contains(b, []byte("Quarry")) {
		t.Error("the shop's name can be read")
	}
	nothing(t, "without one", b, "", backup.ErrSealed)
	nothing(t, "with another", b, "battery staple", backup.ErrPassphrase)
	nothing(t, "cut", b[:len(b)-1], "correct horse", backup.ErrBroken)
	for _, n := range []int{len(b) / 2, len(b) - 1} {
		bad := bytes.Clone(b)
		bad[n] ^= 1
		nothing(t, fmt.Sprint("changed at ", n), bad, "correct horse", backup.ErrBroken)
	}
	nothing(t, "another file", []byte("hums, and smells of tar"), "", backup.ErrOther)
	nothing(t, "an empty file", nil, "", backup.ErrOther)
}

// What an archive names is never written outside of the folder.
func TestAForgedArchiveWritesNothingElsewhere(t *testing.T) {
	for how, h := range map[string]*tar.Header{
		"up":        {Name: "../out", Size: 1, Typeflag: tar.TypeReg},
		"absolute":  {Name: "/tmp/out", Size: 1, Typeflag: tar.TypeReg},
		"link":      {Name: "a", Linkname: "/etc/passwd", Typeflag: tar.TypeSymlink},
		"hard link": {Name: "a", Linkname: "../out", Typeflag: tar.TypeLink},
		"device":    {Name: "a", Typeflag: tar.TypeChar},
		"backslash": {Name: `..\out`, Size: 1, Typeflag: tar.TypeReg},
		"too large": {Name: "a", Size: 1 << 40, Typeflag: tar.TypeReg},
		"no sums":   nil,
		"other sum": {Name: "a", Size: 1, Typeflag: tar.TypeReg},
	} {
		var b bytes.Buffer
		z, err := zstd.NewWriter(&b)
		if err != nil {
			t.Fatal(err)
		}
		w := tar.NewWriter(z)
		text := `{"format":1,"files":1,"bytes":1}`
		put := func(h *tar.Header, body string) {
			if err := w.WriteHeader(h); err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write([]byte(body)); err != nil {
				t.Fatal(err)
			}
		}
		put(&tar.Header{Name: "backup.json", Size: int64(len(text)), Typeflag: tar.TypeReg}, text)
		if h != nil {
			put(h, strings.Repeat("x", int(min(h.Size, 1))))
		}
		if how == "other sum" { // nothing but the sum tells
			line := strings.Repeat("0", 64) + "  a\n"
			put(&tar.Header{Name: "SHA256SUMS", Size: int64(len(line)), Typeflag: tar.TypeReg}, line)
		}
		_ = w.Close() // the too large one is not whole
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		nothing(t, how, b.Bytes(), "", backup.ErrBroken)
	}
}

func FuzzUnpack(f *testing.F) {
	_, b := pack(f, "")
	f.Add(b)
	f.Add(b[:len(b)/2])
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<20 {
			return
		}
		in := t.TempDir()
		if _, err := backup.Unpack(bytes.NewReader(b), filepath.Join(in, "shop"), "", nil); err != nil {
			if left, err := os.ReadDir(in); err != nil || len(left) > 0 {
				t.Fatalf("%v is left (%v)", left, err)
			}
		}
	})
}
