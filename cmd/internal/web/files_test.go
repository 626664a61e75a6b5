package web_test

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"oldhand/events/evidence"
)

// snapshot is a JPEG with words in it that a camera would write beside the
// picture: here a comment (marker COM, ITU-T T.81 B.2.4.5), which a new coding drops.
func snapshot(t testing.TB, comment string, width, height int) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			img.Set(x, y, color.RGBA{uint8(x), uint8(y), 90, 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	n := len(comment) + 2
	return append(append(append([]byte{}, b.Bytes()[:2]...), append([]byte{0xff, 0xfe, byte(n >> 8), byte(n)}, comment...)...), b.Bytes()[2:]...)
}

type named struct {
	name string
	data []byte
}

// attaches sends files to a unit.
func (s *served) attaches(tag string, fields map[string]string, files ...named) (status int, body string) {
	s.t.Helper()
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	for name, value := range fields {
		if err := w.WriteField(name, value); err != nil {
			s.t.Fatal(err)
		}
	}
	for _, f := range files {
		must(must(w.CreateFormFile("files", f.name)).Write(f.data))
	}
	if err := w.Close(); err != nil {
		s.t.Fatal(err)
	}
	r := s.request(http.MethodPost, "/attach?unit="+tag, nil)
	r.Body, r.ContentLength = readCloser{&form}, int64(form.Len())
	r.Header.Set("Content-Type", w.FormDataContentType())
	return s.do(r)
}

func (s *served) fetch(path string) (*http.Response, []byte) {
	s.t.Helper()
	res, err := s.http.Do(s.request(http.MethodGet, path, nil))
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	var b bytes.Buffer
	must(b.ReadFrom(res.Body))
	return res, b.Bytes()
}

func TestPhotosAreKeptAndShownWithoutWhatTheCameraWrote(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	original := snapshot(t, "taken behind the mill", 400, 300)
	status, page := s.attaches(tag, map[string]string{"what": "as received", "by": "ro"}, named{"front.jpg", original}, named{"back.jpg", snapshot(t, "x", 40, 30)})
	if status != http.StatusOK {
		t.Fatalf("status %d: %.2000s", status, page)
	}
	wants(t, page, "2 files kept.", "as received", "front.jpg", "back.jpg")
	content := regexp.MustCompile(`/file/([0-9a-f]{64})\?name=front.jpg`).FindStringSubmatch(page)
	if content == nil {
		t.Fatalf("no link to the file in %.3000s", page)
	}
	res, got := s.fetch("/file/" + content[1] + "?name=front.jpg")
	if !bytes.Equal(got, original) || !strings.HasPrefix(res.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("the original has %d bytes of %d, as %s", len(got), len(original), res.Header.Get("Content-Disposition"))
	}
	for form, side := range map[string]int{"view": 400, "thumb": 320} {
		res, got := s.fetch("/file/" + content[1] + "?form=" + form)
		shown, err := jpeg.Decode(bytes.NewReader(got))
		if err != nil || shown.Bounds().Dx() != side || res.Header.Get("Content-Type") != "image/jpeg" {
			t.Errorf("%s: %v, %v, %s", form, err, shown.Bounds(), res.Header.Get("Content-Type"))
		}
		if bytes.Contains(got, []byte("behind the mill")) {
			t.Errorf("the %s says what the camera wrote", form)
		}
	}
	status, page = s.attaches(tag, nil, named{"again.jpg", original})
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "0 files kept. 1 was here already.")
	wants(t, s.unitPage(tag), `src="/file/`+content[1]+`?form=thumb"`)
}

func TestWhatIsNoPhotoIsRefusedAndNothingOfItRuns(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	status, page := s.attaches(tag, map[string]string{"what": "typed <b>"}, named{"a.jpg", []byte("<script>alert(1)</script>")})
	if status != http.StatusUnprocessableEntity {
		t.Errorf("status %d", status)
	}
	wants(t, page, "a.jpg", "no photo", "typed &lt;b&gt;")
	status, page = s.attaches(tag, nil, named{"big.jpg", append(snapshot(t, "", 8, 8), make([]byte, evidence.MaxSize)...)})
	if status != http.StatusUnprocessableEntity {
		t.Errorf("too large: status %d", status)
	}
	wants(t, page, "64 MiB")
	if status, page = s.attaches(tag, nil); status != http.StatusUnprocessableEntity {
		t.Errorf("no file: status %d", status)
	}
	wants(t, page, "was not chosen")

	odd := `"><script>x`
	if status, page = s.attaches(tag, map[string]string{"what": odd}, named{odd + ".pdf", []byte("%PDF-1.4\n%%EOF\n")}); status != http.StatusOK {
		t.Fatalf("status %d: %.1000s", status, page)
	}
	if strings.Contains(page, odd) {
		t.Error("a name stands on the page as it was typed")
	}
	content := regexp.MustCompile(`/file/([0-9a-f]{64})`).FindStringSubmatch(page)
	res, _ := s.fetch("/file/" + content[1])
	if h := res.Header; h.Get("Content-Security-Policy") != "default-src 'none'; sandbox" || h.Get("X-Content-Type-Options") != "nosniff" || !strings.HasPrefix(h.Get("Content-Disposition"), "attachment") {
		t.Errorf("a paper comes with %v", h)
	}
	for path, want := range map[string]int{"/file/" + content[1] + "?form=view": 404, "/file/zz": 422, "/file/" + strings.Repeat("0", 64): 404, "/file/" + content[1] + "?form=odd": 422} {
		if res, _ := s.fetch(path); res.StatusCode != want {
			t.Errorf("%s: status %d, want %d", path, res.StatusCode, want)
		}
	}
}

func TestAPhotoThatIsElsewhereSaysWhere(t *testing.T) {
	s := copyOfInvented(t)
	tag := tagOf(t, s, "a photograph attached")
	page := s.get("/unit/" + tag + "/files")
	wants(t, page, `class="away"`, "at bench")
	wants(t, s.unitPage(tag), "image/jpeg", "at bench")
}

// photographed gives a unit some photos and a recording to be looked at.
func (s *served) photographed(tag string) string {
	s.t.Helper()
	wav := []byte("RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x40\x1f\x00\x00\x40\x1f\x00\x00\x01\x00\x08\x00data\x00\x00\x00\x00")
	if status, body := s.attaches(tag, map[string]string{"what": "as received", "by": "ro"}, named{"front.jpg", snapshot(s.t, "", 640, 480)},
		named{"back.jpg", snapshot(s.t, "", 300, 480)}, named{"hum.wav", wav}); status != http.StatusOK {
		s.t.Fatalf("status %d: %.1000s", status, body)
	}
	return "/unit/" + tag + "/files"
}
