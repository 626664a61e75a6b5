package evidence_test

import (
	"bytes"
	"crypto/sha256"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"iter"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"oldhand/events"
	"oldhand/events/evidence"
)

func hashOf(b []byte) events.Hash { return sha256.Sum256(b) }

func slicesOf(b []byte, n int) iter.Seq[[]byte] { return slices.Chunk(b, n) }

func encoded(t *testing.T, how string) []byte {
	t.Helper()
	img := image.NewPaletted(image.Rect(0, 0, 3, 2), color.Palette{color.Black, color.White})
	var b bytes.Buffer
	err := map[string]func() error{
		"jpeg": func() error { return jpeg.Encode(&b, img, nil) },
		"png":  func() error { return png.Encode(&b, img) },
		"gif":  func() error { return gif.Encode(&b, img, nil) },
	}[how]()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// mp3 is n frames as the header's bits say, silent.
func mp3(header [4]byte, frame, n int) []byte {
	var b []byte
	for range n {
		b = append(b, header[:]...)
		b = append(b, make([]byte, frame-4)...)
	}
	return b
}

// What a file is, is told by what is in it. The bytes are those that the formats'
// standards begin with; the lengths of MP3 frames are computed from the formula of
// ISO/IEC 11172-3, 2.4.3.1: 144 * rate / frequency, rounded down.
func TestTheTypeIsReadInTheBytes(t *testing.T) {
	ogg := func(packet string) []byte {
		page := append([]byte("OggS\x00\x02"), make([]byte, 20)...)
		return append(append(page, 1, byte(len(packet))), packet...)
	}
	for name, c := range map[string]struct {
		head []byte
		want string
	}{
		"jpeg":                             {encoded(t, "jpeg"), "image/jpeg"},
		"png":                              {encoded(t, "png"), "image/png"},
		"gif":                              {encoded(t, "gif"), "image/gif"},
		"webp":                             {[]byte("RIFF\x24\x00\x00\x00WEBPVP8 \x18\x00\x00\x00"), "image/webp"},
		"wav":                              {[]byte("RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00"), "audio/wav"},
		"mp3 with a title":                 {[]byte("ID3\x04\x00\x00\x00\x00\x00\x00"), "audio/mpeg"},
		"mp3, MPEG-1, 128 kbit/s, 44.1":    {mp3([4]byte{0xFF, 0xFB, 0x90, 0x64}, 417, 2), "audio/mpeg"},
		"mp3, padded":                      {mp3([4]byte{0xFF, 0xFB, 0x92, 0x64}, 418, 2), "audio/mpeg"},
		"mp3, MPEG-1, 320 kbit/s, 32":      {mp3([4]byte{0xFF, 0xFB, 0xE8, 0x64}, 1440, 2), "audio/mpeg"},
		"mp3, MPEG-2, 64 kbit/s, 22.05":    {mp3([4]byte{0xFF, 0xF3, 0x80, 0x64}, 208, 2), "audio/mpeg"},
		"mp3, one frame and then no other": {append(mp3([4]byte{0xFF, 0xFB, 0x90, 0x64}, 417, 1), make([]byte, 100)...), ""},
		"m4a":                              {[]byte("\x00\x00\x00\x18ftypM4A \x00\x00\x00\x00M4A mp42"), "audio/mp4"},
		"a film that names M4A":            {[]byte("\x00\x00\x00\x18ftypM4V \x00\x00\x00\x00M4V M4A "), ""},
		"a film":                           {[]byte("\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom"), ""},
		"ogg with vorbis":                  {ogg("\x01vorbis"), "audio/ogg"},
		"ogg with opus":                    {ogg("OpusHead"), "audio/ogg"},
		"ogg with a film":                  {ogg("\x80theora"), ""},
		"pdf":                              {[]byte("%PDF-1.7"), "application/pdf"},
		"heic":                             {[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), ""},
		"a page":                           {[]byte("<!doctype html><script>"), ""},
		"a drawing with a script":          {[]byte("<svg xmlns=\"http://www.w3.org/2000/svg\"><script/></svg>"), ""},
		"a program":                        {[]byte("MZ\x90\x00\x03"), ""},
		"text":                             {[]byte("hums"), ""},
		"nothing":                          {nil, ""},
	} {
		if got := evidence.TypeOf(c.head); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		if c.want != "" && (evidence.Sort(c.want) == "" || len(evidence.Endings(c.want)) == 0) {
			t.Errorf("%s: has no sort or no ending", c.want)
		}
	}
	s, _ := open(t)
	_, err := s.Put(strings.NewReader("<!doctype html><script>alert(1)</script>"))
	wantErr(t, err, evidence.ErrType)
}

func TestNamesAreCleaned(t *testing.T) {
	for typed, want := range map[string]string{
		"label.jpg":                       "label.jpg",
		"/home/u/label.jpg":               "label.jpg",
		`C:\fotos\label.jpg`:              "label.jpg",
		"../../etc/passwd":                "passwd",
		"..":                              "",
		"photo\u202Egpj.exe":              "photogpj.exe",
		"a\x00b\nc\x1b[31m.jpg":           "abc[31m.jpg",
		"\xff\xfeline\u2028.png":          "line.png",
		"Rückwand 3 Ω.jpg":                "Rückwand 3 Ω.jpg",
		strings.Repeat("ö", 150) + ".jpg": strings.Repeat("ö", 98) + ".jpg",
	} {
		got := evidence.CleanName(typed)
		if got != want || len(got) > events.MaxWord || !utf8.ValidString(got) {
			t.Errorf("%q: %q, want %q", typed, got, want)
		}
	}
}

func TestFilesAreNamedByWhatTheyAre(t *testing.T) {
	for _, c := range []struct{ name, media, want string }{
		{"label.jpg", "image/jpeg", "label.jpg"},
		{"label.JPEG", "image/jpeg", "label.JPEG"},
		{"label.jpg.exe", "image/jpeg", "label.jpg.exe.jpg"},
		{"page.html", "image/png", "page.html.png"},
		{"", "audio/ogg", "piece.ogg"},
		{".htaccess", "image/gif", "htaccess.gif"},
		{"con.jpg", "image/jpeg", "piece.jpg"},
		{"LPT1", "application/pdf", "piece.pdf"},
		{`a<b>:"|?*.pdf`, "application/pdf", "a-b------.pdf"},
		{"x", "text/html", "x.bin"},
	} {
		if got := evidence.FileName(c.name, c.media); got != c.want {
			t.Errorf("%q as %s: %q, want %q", c.name, c.media, got, c.want)
		}
	}
}

func FuzzTypeOf(f *testing.F) {
	f.Add([]byte("OggS\x00\x02"), "x")
	f.Add(mp3([4]byte{0xFF, 0xFB, 0x90, 0x64}, 417, 2), "../a.jpg")
	f.Fuzz(func(t *testing.T, head []byte, name string) {
		media := evidence.TypeOf(head)
		if media != "" && evidence.Sort(media) == "" {
			t.Errorf("%q is no sort", media)
		}
		clean := evidence.FileName(name, media)
		if strings.ContainsAny(clean, "/\\\x00\n") || clean == "" || clean[0] == '.' || evidence.CleanName(evidence.CleanName(name)) != evidence.CleanName(name) {
			t.Errorf("%q became %q", name, clean)
		}
	})
}
