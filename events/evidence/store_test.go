package evidence_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/evidence"
)

// pdf is a piece of n bytes that no other seed gives.
func pdf(seed uint64, n int) []byte {
	b := make([]byte, n)
	r := rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8)})
	_, _ = r.Read(b)
	copy(b, "%PDF-1.7\n")
	return b
}

func open(t testing.TB) (*evidence.Store, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "evidence")
	return evidence.New(evidence.Options{Dir: dir}), dir
}

func put(t testing.TB, s *evidence.Store, b []byte) evidence.Piece {
	t.Helper()
	p, err := s.Put(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func read(t testing.TB, s *evidence.Store, h events.Hash) []byte {
	t.Helper()
	f, err := s.Open(h)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(f)
	if err = errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
	return b
}

func wantErr(t testing.TB, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("got %v, want %v", err, want)
	}
}

// files are all of a folder, each with its bytes.
func files(t testing.TB, dir string) (list []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(p string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, p)
			list = append(list, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	return list
}

func TestWhatIsPutIsGivenBackByItsHash(t *testing.T) {
	s, dir := open(t)
	for _, n := range []int{9, 4<<10 - 1, 4 << 10, 4<<10 + 1, 300_000} {
		b := pdf(uint64(n), n)
		p := put(t, s, b)
		if want := events.Hash(sha256.Sum256(b)); p.Content != want || p.Size != int64(n) || p.Type != "application/pdf" {
			t.Fatalf("%d bytes: %+v, want %s", n, p, want)
		}
		if !bytes.Equal(read(t, s, p.Content), b) {
			t.Fatalf("%d bytes came back as others", n)
		}
		if size, ok, err := s.Size(p.Content); err != nil || !ok || size != int64(n) {
			t.Errorf("%d, %v, %v", size, ok, err)
		}
	}
	again := put(t, s, pdf(9, 9))
	if list := files(t, dir); len(list) != 5 || !strings.HasPrefix(list[0], "kept/") {
		t.Errorf("after one was put again: %v", list)
	}
	info, err := os.Stat(filepath.Join(dir, "kept", again.Content.String()))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	n := 0
	if err := s.List(func(events.Hash, int64) (bool, error) { n++; return true, nil }); err != nil || n != 5 {
		t.Errorf("listed %d, %v", n, err)
	}
}

func TestF24_TooLargeIsRefusedWithTheLimitNamed(t *testing.T) {
	s, dir := open(t)
	all := io.MultiReader(strings.NewReader("%PDF-1.7\n"), io.LimitReader(zeros{}, evidence.MaxSize-8))
	_, err := s.Put(all)
	wantErr(t, err, evidence.ErrTooLarge)
	if !strings.Contains(err.Error(), "64 MiB") {
		t.Errorf("it says %q", err)
	}
	if list := files(t, dir); len(list) != 0 {
		t.Errorf("left behind: %v", list)
	}
	all = io.MultiReader(strings.NewReader("%PDF-1.7\n"), io.LimitReader(zeros{}, evidence.MaxSize-9))
	if p, err := s.Put(all); err != nil || p.Size != evidence.MaxSize {
		t.Errorf("exactly the limit: %+v, %v", p, err)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// A source that breaks off, such as a browser that goes away, leaves nothing.
func TestABrokenSourceLeavesNothing_P2(t *testing.T) {
	s, dir := open(t)
	gone := errors.New("the line is gone")
	for _, n := range []int{0, 100, 100_000} {
		_, err := s.Put(io.MultiReader(bytes.NewReader(pdf(1, n)), broken{gone}))
		wantErr(t, err, gone)
	}
	if list := files(t, dir); len(list) != 0 {
		t.Errorf("left behind: %v", list)
	}
}

type broken struct{ err error }

func (b broken) Read([]byte) (int, error) { return 0, b.err }

func TestDamageIsFoundAndMended_P10(t *testing.T) {
	s, dir := open(t)
	b := pdf(3, 200_000)
	p, other := put(t, s, b), put(t, s, pdf(4, 50))
	spoil(t, filepath.Join(dir, "kept", p.Content.String()), 150_000)
	_, err := s.Open(p.Content)
	wantErr(t, err, evidence.ErrDamaged)
	res, err := s.Scrub(nil)
	if err != nil || res.Pieces != 2 || res.Bytes != 200_050 || len(res.Damaged) != 1 || res.Damaged[0] != p.Content {
		t.Errorf("%+v, %v", res, err)
	}
	put(t, s, b)
	if res, err = s.Scrub(nil); err != nil || len(res.Damaged) != 0 {
		t.Errorf("put again: %+v, %v", res, err)
	}
	spoil(t, filepath.Join(dir, "kept", p.Content.String()), 0)
	if err := errors.Join(s.Aside(p.Content), s.Aside(other.Content)); err != nil {
		t.Fatal(err)
	}
	if _, ok, err := s.Size(p.Content); ok || err != nil {
		t.Errorf("the damaged one is still here (%v)", err)
	}
	if !bytes.Equal(read(t, s, other.Content), pdf(4, 50)) {
		t.Error("a sound one was put aside")
	}
}

func spoil(t testing.TB, path string, at int) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[at] ^= 1
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestADroppedPieceIsGoneAndStaysUnwanted_P15(t *testing.T) {
	s, dir := open(t)
	b := pdf(5, 1000)
	p := put(t, s, b)
	made := 0
	view := func() ([]byte, error) {
		return s.View(p.Content, "view.jpg", func(*evidence.File) ([]byte, error) { made++; return []byte("a view"), nil })
	}
	for range 2 {
		if v, err := view(); err != nil || string(v) != "a view" || made != 1 {
			t.Fatalf("%q, made %d times, %v", v, made, err)
		}
	}
	if err := s.Drop(p.Content); err != nil {
		t.Fatal(err)
	}
	if list := files(t, dir); len(list) != 1 || list[0] != "dropped/"+p.Content.String() {
		t.Errorf("left: %v", list)
	}
	_, err := view()
	wantErr(t, err, evidence.ErrNotHere)
	_, err = s.Open(p.Content)
	wantErr(t, err, evidence.ErrNotHere)
	if dropped, err := s.Dropped(p.Content); err != nil || !dropped {
		t.Errorf("%v, %v", dropped, err)
	}
	put(t, s, b)
	if dropped, err := s.Dropped(p.Content); err != nil || dropped {
		t.Errorf("put again: %v, %v", dropped, err)
	}
}

// What a crash left is taken away once it is old; what is being written stays.
func TestWhatACrashLeftIsSweptAway(t *testing.T) {
	s, dir := open(t)
	put(t, s, pdf(1, 10))
	old, young := filepath.Join(dir, "coming", "A.new"), filepath.Join(dir, "coming", "B.new")
	part := filepath.Join(dir, "coming", events.Hash{1}.String()+".part")
	for _, p := range []string{old, young, part} {
		if err := os.WriteFile(p, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	before := time.Now().Add(-25 * time.Hour)
	if err := errors.Join(os.Chtimes(old, before, before), os.Chtimes(part, before, before)); err != nil {
		t.Fatal(err)
	}
	put(t, s, pdf(2, 10))
	if got := fmt.Sprint(files(t, filepath.Join(dir, "coming"))); got != fmt.Sprintf("[%s.part B.new]", events.Hash{1}) && got != fmt.Sprintf("[B.new %s.part]", events.Hash{1}) {
		t.Errorf("left: %s", got)
	}
}

func TestAPieceIsFetchedAFewBytesAtATimeAndGoesOn_P10_P14(t *testing.T) {
	s, dir := open(t)
	b := pdf(7, 25)
	h := events.Hash(sha256.Sum256(b))
	fetch := func(from int64, b []byte, size int64) (*evidence.Coming, error) {
		t.Helper()
		f, err := s.Fetch()
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if _, err := s.Fetch(); !errors.Is(err, evidence.ErrBusy) {
			t.Errorf("a second one fetches: %v", err)
		}
		c, err := f.Piece(h, size, 10)
		if err != nil {
			t.Fatal(err)
		}
		if c.Have() != from {
			t.Fatalf("it goes on at %d, want %d", c.Have(), from)
		}
		return c, errors.Join(c.Add(b), c.Close())
	}
	if _, err := fetch(0, b[:17], 25); err != nil { // 7 bytes of a step that was cut
		t.Fatal(err)
	}
	if _, ok, _ := s.Size(h); ok {
		t.Error("half a piece is kept")
	}
	c, err := fetch(10, b[10:], 25)
	if err != nil {
		t.Fatal(err)
	}
	_ = c
	f, err := s.Fetch()
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if c, err = f.Piece(h, 25, 10); err != nil || c.Have() != 20 {
		t.Fatalf("%v", err)
	}
	if err := errors.Join(c.Add(b[20:]), c.Keep(), c.Close()); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(read(t, s, h), b) {
		t.Error("it came as other bytes")
	}
	if c, err = f.Piece(events.Hash{1}, 10, 10); err != nil {
		t.Fatal(err)
	}
	if err := c.Add(b[:11]); !errors.Is(err, evidence.ErrDamaged) {
		t.Errorf("more than it has: %v", err)
	}
	err = errors.Join(c.Add(b[:10]), c.Keep())
	wantErr(t, err, evidence.ErrDamaged)
	_ = c.Close()
	if list := files(t, dir); len(list) != 2 { // kept, lock
		t.Errorf("left: %v", list)
	}
	_, err = f.Piece(h, evidence.MaxSize+1, 10)
	wantErr(t, err, evidence.ErrTooLarge)
}
