package web_test

import (
	"bytes"
	"html"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"

	"oldhand/cmd/internal/paper/papertest"
	labels "oldhand/cmd/internal/tags"
)

// photoOf is a tag as a telephone takes it: large, on a bench, in JPEG.
func photoOf(t *testing.T, code, tag string) []byte {
	t.Helper()
	d, err := labels.Make(labels.Label{Tag: tag, Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", Code: code}, labels.Usual)
	if err != nil {
		t.Fatal(err)
	}
	label := must(png.Decode(bytes.NewReader(must(d.PNG()))))
	m := image.NewRGBA(image.Rect(0, 0, 2400, 1600))
	draw.Draw(m, m.Bounds(), image.NewUniform(color.RGBA{120, 90, 60, 255}), image.Point{}, draw.Src)
	draw.Draw(m, label.Bounds().Add(image.Pt(700, 500)), label, image.Point{}, draw.Src)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 80}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// sending is a form with one file.
func sending(t *testing.T, field, name string, data []byte) (body *bytes.Buffer, kind string) {
	t.Helper()
	body = &bytes.Buffer{}
	w := multipart.NewWriter(body)
	must(must(w.CreateFormFile(field, name)).Write(data))
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return body, w.FormDataContentType()
}

func (s *served) readTag(t *testing.T, data []byte) (int, string, string) {
	t.Helper()
	body, kind := sending(t, "photo", "tag.jpg", data)
	r := s.request(http.MethodPost, "/tags/read", nil)
	r.Body, r.ContentLength = readCloser{body}, int64(body.Len())
	r.Header.Set("Content-Type", kind)
	res, err := s.http.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var b bytes.Buffer
	must(b.ReadFrom(res.Body))
	return res.StatusCode, res.Request.URL.Path, html.UnescapeString(b.String())
}

// A photo of a tag opens its unit, whatever address the tag was printed with, and
// nothing is written.
func TestAPhotoOfATagOpensItsUnit(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	before := commits(t, s.shop)
	for _, code := range []string{tag, "https://192.168.1.20:4751/unit/" + tag} {
		if status, at, page := s.readTag(t, photoOf(t, code, tag)); status != http.StatusOK || at != "/unit/"+tag {
			t.Errorf("%s: status %d at %s: %.1500s", code, status, at, page)
		}
	}
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"no code":         {snapshot(t, "", 640, 480), "no QR code and no bar code was found"},
		"another shop's":  {photoOf(t, "https://192.168.1.20:4751/unit/88888", "10024"), "is no one unit of this shop"},
		"no picture":      {[]byte("hello"), "the picture can't be read"},
		"nothing":         {nil, "the picture can't be read"},
		"one far too big": {append(snapshot(t, "", 8, 8), make([]byte, 25<<20)...), "at most"},
	} {
		status, at, page := s.readTag(t, c.data)
		if status < 400 || status >= 500 || at != "/tags/read" || !strings.Contains(page, c.want) {
			t.Errorf("%s: status %d at %s: %.3000s", name, status, at, page)
		}
	}
	if after := commits(t, s.shop); after != before {
		t.Errorf("%d actions were written", after-before)
	}
}

// A device that may only look opens units by a photo too: that writes nothing.
func TestADeviceThatMayOnlyLookReadsTags(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	onLan(t, s)
	p := letIn(t, s, "Ana's phone", nil)
	body, kind := sending(t, "photo", "tag.jpg", photoOf(t, tag, tag))
	r := p.request(http.MethodPost, "/tags/read", nil)
	r.Body, r.ContentLength = readCloser{body}, int64(body.Len())
	r.Header.Set("Content-Type", kind)
	if res, page := p.do(r); res.StatusCode != http.StatusSeeOther || res.Header.Get("Location") != "/unit/"+tag {
		t.Errorf("status %d to %s: %.500s", res.StatusCode, res.Header.Get("Location"), page)
	}
	_, page := p.get("/tags")
	wants(t, page, `class="looks"`, `capture="environment"`)
}

// What is printed is what was asked for, and where phones are let in it leads to
// the page on the network.
func TestTagsArePrintedFromThePage(t *testing.T) {
	s := newShop(t)
	one, two := receive(t, s, "E17-17750"), receive(t, s, "E17-20001")
	page := html.UnescapeString(s.get("/tags?benches=yes&size=50x25&paper=letter"))
	wants(t, page, `alt="tag `+one+`, Ostrel R-950, serial E17-17750"`, "Both codes hold the number", "/tags/pdf?benches=yes&paper=letter&size=50x25")
	res, pdf := s.fetch("/tags/pdf?benches=yes&paper=letter&size=50x25")
	sheets, err := papertest.Read(pdf)
	if err != nil || res.Header.Get("Content-Type") != "application/pdf" || len(sheets) != 1 {
		t.Fatal(err, res.Header)
	}
	if text := sheets[0].Text(); !strings.Contains(text, one) || !strings.Contains(text, two) {
		t.Errorf("%s", text)
	}
	onLan(t, s)
	wants(t, html.UnescapeString(s.get("/tags?units="+one)), "opens the unit's page at https://"+s.web.Lan().State().Address, "as SVG", "as PNG")
	_, b := s.fetch("/tags/picture?take=png&unit=" + one)
	if m, err := png.Decode(bytes.NewReader(b)); err != nil || m.Bounds().Dx() != 60*labels.DotsPerMM {
		t.Errorf("PNG: %v", err)
	}
	res, b = s.fetch("/tags/picture?unit=" + one + "&size=62x29")
	if res.Header.Get("Content-Type") != "image/svg+xml" || !bytes.Contains(b, []byte(`width="62mm"`)) {
		t.Errorf("%v %.200s", res.Header, b)
	}
	for at, want := range map[string]string{"/tags?units=10091": "is no unit's tag or serial", "/tags?units=" + one + "&size=10x10": "is too small for tag", "/tags?units=" + one + "&size=wide": "want width and height", "/tags?units=" + one + "&used=99": "99 labels used", "/tags?units=" + one + "&paper=quarto": "there are a4, letter and label", "/tags?units=,": "name some"} {
		status, body := s.do(s.request(http.MethodGet, at, nil))
		if body = html.UnescapeString(body); status < 400 || status >= 500 || !strings.Contains(body, want) {
			t.Errorf("%s: status %d: %s", at, status, body)
		}
	}
}
