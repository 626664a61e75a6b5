package app_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/photo"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/evidence"
)

// lying is a photo whose camera lay on its side (orientation 6): red above blue as
// it is seen, so red at the left as it is stored.
func lying(t testing.TB, w, h int) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for x := range w {
		for y := range h {
			c := color.RGBA{255, 0, 0, 255}
			if x >= w/2 {
				c = color.RGBA{0, 0, 255, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	le := binary.LittleEndian
	exif := le.AppendUint16(le.AppendUint32([]byte("Exif\x00\x00II*\x00"), 8), 1)
	exif = le.AppendUint32(le.AppendUint16(le.AppendUint16(exif, 0x0112), 3), 1)
	exif = append(le.AppendUint32(le.AppendUint32(exif, 6), 0), "CANARY"...)
	out := binary.BigEndian.AppendUint16([]byte{0xFF, 0xD8, 0xFF, 0xE1}, uint16(len(exif)+2))
	return append(append(out, exif...), b.Bytes()[2:]...)
}

func attach(t testing.TB, s *app.Shop, unit string, name string, b []byte) app.Saved {
	t.Helper()
	saved, err := s.Attach(unit, on("2026-03-02"), "as received", app.File{Name: name, Content: bytes.NewReader(b)})
	must(t, saved, err)
	return saved
}

func content(b []byte) events.Hash { return sha256.Sum256(b) }

func openPiece(t testing.TB, s *app.Shop, h events.Hash, form app.Form) (string, []byte) {
	t.Helper()
	p, err := s.OpenEvidence(h, form)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(p)
	if err = errors.Join(err, p.Close()); err != nil || int64(len(b)) != p.Size {
		t.Fatalf("%d of %d bytes, %v", len(b), p.Size, err)
	}
	return p.Type, b
}

func TestAPhotoIsKeptWithItsUnitAndShownUpright(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750", "2026-03-01").Tag
	b := lying(t, 3000, 2000)
	saved := attach(t, s, tag, `C:\photos\..\door.jpg`, b)
	if len(saved.Events) != 1 || !strings.HasPrefix(saved.Events[0].Line, "photo door.jpg, ") {
		t.Errorf("%+v", saved)
	}
	list, err := s.Evidence(tag)
	if err != nil || len(list) != 1 {
		t.Fatalf("%+v, %v", list, err)
	}
	a := list[0]
	if !a.Here || a.Where != "" || a.Visit != 1 || a.Name != "door.jpg" || a.Type != "image/jpeg" || a.Size != int64(len(b)) || a.What != "as received" || a.Content != content(b).String() || a.At != "2026-03-02" {
		t.Errorf("%+v", a)
	}
	p, err := s.Past(tag, 1)
	if err != nil || len(p.Matches[0].Visits[0].Attachments) != 1 || p.Matches[0].Visits[0].Attachments[0] != a {
		t.Errorf("%+v, %v", p, err)
	}
	if media, got := openPiece(t, s, content(b), app.Original); media != "image/jpeg" || !bytes.Equal(got, b) {
		t.Errorf("%s, %d bytes, want %d", media, len(got), len(b))
	}
	for form, want := range map[app.Form]image.Point{app.View: {1067, photo.LargeSide}, app.Thumb: {213, photo.SmallSide}} {
		media, got := openPiece(t, s, content(b), form)
		img, err := jpeg.Decode(bytes.NewReader(got))
		if err != nil || media != "image/jpeg" || img.Bounds().Size() != want {
			t.Fatalf("%s of %v, %v", media, img.Bounds(), err)
		}
		if r, _, blue, _ := img.At(want.X/2, want.Y/4).RGBA(); r < 0xF000 || blue > 0x1000 {
			t.Errorf("red is not at the top: %v", img.At(want.X/2, want.Y/4))
		}
		if bytes.Contains(got, []byte("CANARY")) || !bytes.Contains(b, []byte("CANARY")) {
			t.Error("what the camera wrote is in the view, or not in the original")
		}
	}
}

// The same bytes on the same unit are one entry, under any name; on another unit
// they are another.
func TestTheSameBytesAreAttachedOnce(t *testing.T) {
	s := newShop(t)
	one, two := receive(t, s, "E17-17750", "2026-03-01").Tag, receive(t, s, "B90-55354", "2026-03-01").Tag
	b := lying(t, 40, 20)
	attach(t, s, one, "door.jpg", b)
	again := attach(t, s, one, "other.jpg", b)
	if len(again.Events) != 0 || len(again.Notes) != 1 || again.Notes[0] != "other.jpg is attached to "+one+" already" {
		t.Errorf("%+v", again)
	}
	both, err := s.Attach(two, on("2026-03-02"), "", app.File{Name: "a.jpg", Content: bytes.NewReader(b)}, app.File{Name: "b.jpg", Content: bytes.NewReader(b)})
	if err != nil || len(both.Events) != 1 || len(both.Notes) != 1 {
		t.Errorf("%+v, %v", both, err)
	}
	mixed, err := s.Attach(two, on("2026-03-02"), "", app.File{Name: "door.jpg", Content: bytes.NewReader(b)}, app.File{Name: "label.jpg", Content: bytes.NewReader(lying(t, 60, 20))})
	if err != nil || len(mixed.Events) != 1 || !strings.Contains(mixed.Events[0].Line, "label.jpg") {
		t.Errorf("%+v, %v", mixed, err)
	}
	// Withdrawn, it can be attached anew.
	if _, err := s.Withdraw(one, attachedEvent(t, s, one), "wrong set", on("2026-03-03")); err != nil {
		t.Fatal(err)
	}
	if saved := attach(t, s, one, "door.jpg", b); len(saved.Events) != 1 {
		t.Errorf("%+v", saved)
	}
}

func attachedEvent(t testing.TB, s *app.Shop, unit string) string {
	t.Helper()
	list, err := s.Evidence(unit)
	if err != nil || len(list) != 1 {
		t.Fatalf("%+v, %v", list, err)
	}
	return list[0].Event
}

// Where one of several files is refused, no entry is made of any.
func TestWhatIsRefusedMakesNoEntry_P3_F24(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750", "2026-03-01").Tag
	good := func() app.File { return app.File{Name: "door.jpg", Content: bytes.NewReader(lying(t, 40, 20))} }
	gone := errors.New("the browser went away")
	for want, bad := range map[string]io.Reader{
		"is no photo":   strings.NewReader("<script>"),
		"64 MiB":        io.MultiReader(strings.NewReader("%PDF-1.7"), io.LimitReader(zeroes{}, evidence.MaxSize)),
		"went away":     io.MultiReader(strings.NewReader("%PDF-1.7"), failing{gone}),
		"no recording ": strings.NewReader(""),
	} {
		_, err := s.Attach(tag, on("2026-03-02"), "", good(), app.File{Name: "bad.jpg", Content: bad})
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "bad.jpg") {
			t.Errorf("%s: %v", want, err)
		}
	}
	if _, err := s.Attach("99998", on("2026-03-02"), "", good()); !errors.As(err, new(*app.Unclear)) {
		t.Errorf("no such unit: %v", err)
	}
	if list, err := s.Evidence(tag); err != nil || len(list) != 0 {
		t.Errorf("%+v, %v", list, err)
	}
}

type zeroes struct{}

func (zeroes) Read(p []byte) (int, error) { clear(p); return len(p), nil }

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// Where the entry can't be saved, the bytes are kept and the next try takes them:
// an entry never names bytes that were not there.
func TestBytesComeBeforeTheEntry_P2(t *testing.T) {
	dir := t.TempDir()
	o := options(dir)
	s, err := app.Found(filepath.Join(dir, "shop"), "Lantern Street Radio", "front", o)
	if err != nil {
		t.Fatal(err)
	}
	tag := receive(t, s, "E17-17750", "2026-03-01").Tag
	if _, err := s.Attach(tag, on("2026-02-01"), "", app.File{Name: "door.jpg", Content: bytes.NewReader(lying(t, 40, 20))}); err != nil {
		t.Fatal(err) // a photo from before it came in
	}
	_, err = s.Attach(tag, on("2036-01-01"), "", app.File{Name: "label.jpg", Content: bytes.NewReader(lying(t, 60, 20))})
	if err == nil || !strings.Contains(err.Error(), "future") {
		t.Fatalf("%v", err)
	}
	if list, err := s.Evidence(tag); err != nil || len(list) != 1 {
		t.Errorf("%+v, %v", list, err)
	}
	if saved := attach(t, s, tag, "label.jpg", lying(t, 60, 20)); len(saved.Events) != 1 {
		t.Errorf("%+v", saved)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	o.ReadOnly = true
	if s, err = app.Open(filepath.Join(dir, "shop"), o); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	before := count(t, filepath.Join(dir, "shop", "evidence", "kept"))
	if _, err := s.Attach(tag, on("2026-03-02"), "", app.File{Name: "x.jpg", Content: bytes.NewReader(lying(t, 80, 20))}); !errors.Is(err, eventlog.ErrReadOnly) {
		t.Errorf("only looked at: %v", err)
	}
	if after := count(t, filepath.Join(dir, "shop", "evidence", "kept")); after != before || before != 2 {
		t.Errorf("from %d pieces to %d", before, after)
	}
}

func count(t testing.TB, dir string) int {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	return len(list)
}

// A piece that is not here says where it is; one that was damaged is not given.
func TestAPieceThatIsNotHereSaysSo(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750", "2026-03-01").Tag
	b, pdf := lying(t, 40, 20), []byte("%PDF-1.7 a wiring diagram")
	attach(t, s, tag, "door.jpg", b)
	attach(t, s, tag, "wiring.pdf", pdf)
	for _, form := range []app.Form{app.View, app.Thumb} {
		if _, err := s.OpenEvidence(content(pdf), form); !errors.As(err, new(*app.NoView)) {
			t.Errorf("a view of a paper: %v", err)
		}
	}
	path := filepath.Join(s.Dir, "evidence", "kept", content(pdf).String())
	if err := os.WriteFile(path, []byte("%PDF-1.7 another diagram!"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.OpenEvidence(content(pdf), app.Original); !errors.Is(err, evidence.ErrDamaged) {
		t.Errorf("%v", err)
	}
	v, err := s.Verify(nil)
	if err != nil || v.OK || v.Attached.Here != 2 || len(v.Attached.Damaged) != 1 || !strings.Contains(v.Wrong, "damaged on the disk: 1") {
		t.Errorf("%+v, %v", v, err)
	}
	if err := s.DropEvidence(content(b)); err != nil {
		t.Fatal(err)
	}
	list, err := s.Evidence(tag)
	if err != nil || len(list) != 2 || list[0].Where != "dropped at this bench" || !strings.HasPrefix(list[1].Where, "lost at this bench") {
		t.Errorf("%+v, %v", list, err)
	}
	var away *app.Away
	if _, err := s.OpenEvidence(content(b), app.Thumb); !errors.As(err, &away) || away.Where != "dropped at this bench" {
		t.Errorf("%v", err)
	}
	if v, err = s.Verify(nil); err != nil || !v.OK || v.Attached.Away != 2 {
		t.Errorf("%+v, %v", v, err)
	}
	if v.Digest == "" {
		t.Error("no digest")
	}
}
