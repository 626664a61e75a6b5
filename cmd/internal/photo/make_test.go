package photo_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"strings"
	"testing"

	"oldhand/cmd/internal/photo"

	"github.com/bep/imagemeta"
)

// place is hidden in the Exif of the test's photos; no view may have it.
const place = "CANARY-Lantern-Street-7"

// exif makes a TIFF body as Exif has it (CIPA DC-008, 4.6): byte order, then IFD0
// with Make, Orientation and a pointer to the GPS IFD, which holds a latitude of
// 52 degrees 30 minutes north.
func exif(order binary.AppendByteOrder, mark string, orientation uint16) []byte {
	b := order.AppendUint32(order.AppendUint16([]byte(mark), 42), 8)
	entry := func(tag, kind uint16, n uint32, value func([]byte) []byte) {
		b = order.AppendUint32(order.AppendUint16(order.AppendUint16(b, tag), kind), n)
		b = value(b)
	}
	long := func(n uint32) func([]byte) []byte {
		return func(b []byte) []byte { return order.AppendUint32(b, n) }
	}
	text := uint32(len(place) + 1)
	const ifd0 = 8 + 2 + 3*12 + 4
	b = order.AppendUint16(b, 3)
	entry(0x010F, 2, text, long(ifd0)) // Make
	entry(0x0112, 3, 1, func(b []byte) []byte { return order.AppendUint16(order.AppendUint16(b, orientation), 0) })
	entry(0x8825, 4, 1, long(ifd0+text)) // GPS IFD
	b = order.AppendUint32(b, 0)
	b = append(append(b, place...), 0)
	gps := ifd0 + text
	b = order.AppendUint16(b, 2)
	entry(1, 2, 2, func(b []byte) []byte { return append(b, 'N', 0, 0, 0) })
	entry(2, 5, 3, long(gps+2+2*12+4))
	b = order.AppendUint32(b, 0)
	for _, n := range []uint32{52, 1, 30, 1, 0, 1} {
		b = order.AppendUint32(b, n)
	}
	return b
}

// withExif puts a body behind a JPEG's first marker, as APP1.
func withExif(jpg, body []byte) []byte {
	app1 := append([]byte("Exif\x00\x00"), body...)
	out := append([]byte{0xFF, 0xD8, 0xFF, 0xE1}, binary.BigEndian.AppendUint16(nil, uint16(len(app1)+2))...)
	return append(append(out, app1...), jpg[2:]...)
}

// The four corners of a picture that is seen upright: red at the top left, green
// at the top right, blue at the bottom left, white at the bottom right. Its sides
// differ, so that a quarter turn shows.
const upW, upH = 96, 64

var corners = [2][2]color.RGBA{
	{{255, 0, 0, 255}, {0, 255, 0, 255}},
	{{0, 0, 255, 255}, {255, 255, 255, 255}},
}

func upright(x, y int) color.RGBA { return corners[y*2/upH][x*2/upW] }

// sides say where the first row and the first column of the stored picture are on
// the one that is seen: the table of Exif's tag 0x0112 (JEITA CP-3451 / CIPA
// DC-008, 4.6.4 A, "The 0th row ... the 0th column ...").
var sides = map[uint16][2]string{
	1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
	5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
}

// stored is the picture as a camera held that way stores it. It is drawn from the
// standard's words: row r lies r pixels from the side of the first row, column c
// lies c from the side of the first column.
func stored(orientation uint16) *image.RGBA {
	w, h := upW, upH
	row, col := sides[orientation][0], sides[orientation][1]
	if row == "left" || row == "right" {
		w, h = upH, upW
	}
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for r := range h {
		for c := range w {
			var x, y int
			for _, at := range []struct {
				side string
				n    int
			}{{row, r}, {col, c}} {
				switch at.side {
				case "top":
					y = at.n
				case "bottom":
					y = upH - 1 - at.n
				case "left":
					x = at.n
				case "right":
					x = upW - 1 - at.n
				}
			}
			img.SetRGBA(c, r, upright(x, y))
		}
	}
	return img
}

func asJPEG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// asPNG writes a picture with an eXIf chunk (PNG third edition, 11.3.3.4).
func asPNG(t testing.TB, img image.Image, exif []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	if exif == nil {
		return b.Bytes()
	}
	chunk := append([]byte("eXIf"), exif...)
	const head = 8 + 12 + 13 // signature and IHDR
	out := append([]byte{}, b.Bytes()[:head]...)
	out = binary.BigEndian.AppendUint32(out, uint32(len(exif)))
	out = binary.BigEndian.AppendUint32(append(out, chunk...), crc32.ChecksumIEEE(chunk))
	return append(out, b.Bytes()[head:]...)
}

func view(t testing.TB, b []byte, side int) (image.Image, []byte) {
	t.Helper()
	out, err := photo.Make(bytes.NewReader(b), side)
	if err != nil {
		t.Fatal(err)
	}
	img, format, err := image.Decode(bytes.NewReader(out))
	if err != nil || format != "jpeg" {
		t.Fatalf("%s, %v", format, err)
	}
	return img, out
}

// near allows for what JPEG loses.
func near(a color.Color, b color.RGBA) bool {
	r, g, bl, _ := a.RGBA()
	for _, d := range []int{int(r>>8) - int(b.R), int(g>>8) - int(b.G), int(bl>>8) - int(b.B)} {
		if d > 12 || d < -12 {
			return false
		}
	}
	return true
}

func isUpright(t testing.TB, img image.Image) {
	t.Helper()
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	for y := range h {
		for x := range w {
			ux, uy := x*upW/w, y*upH/h
			if dx, dy := ux-upW/2, uy-upH/2; dx*dx < 64 || dy*dy < 64 {
				continue // colours run into each other at the borders
			}
			if !near(img.At(x, y), upright(ux, uy)) {
				t.Fatalf("at %d, %d of %d by %d: %v, want %v", x, y, w, h, img.At(x, y), upright(ux, uy))
			}
		}
	}
}

func TestEachOrientationComesOutUpright(t *testing.T) {
	for n := range sides {
		for what, b := range map[string][]byte{
			"JPEG, little endian": withExif(asJPEG(t, stored(n)), exif(binary.LittleEndian, "II", n)),
			"JPEG, big endian":    withExif(asJPEG(t, stored(n)), exif(binary.BigEndian, "MM", n)),
			"PNG":                 asPNG(t, stored(n), exif(binary.BigEndian, "MM", n)),
		} {
			img, _ := view(t, b, 1600)
			if img.Bounds().Dx() != upW || img.Bounds().Dy() != upH {
				t.Fatalf("%s, orientation %d: %v", what, n, img.Bounds())
			}
			isUpright(t, img)
			img, _ = view(t, b, 48)
			if img.Bounds().Dx() != 48 || img.Bounds().Dy() != 32 {
				t.Fatalf("%s, orientation %d, small: %v", what, n, img.Bounds())
			}
			isUpright(t, img)
		}
	}
}

// A reader that is not ours finds the place in what the test made, and nothing in
// what is shown of it.
func TestTheViewTellsNothingOfThePlace(t *testing.T) {
	for what, b := range map[string][]byte{
		"JPEG": withExif(asJPEG(t, stored(6)), exif(binary.LittleEndian, "II", 6)),
		"PNG":  asPNG(t, stored(6), exif(binary.LittleEndian, "II", 6)),
	} {
		of := imagemeta.JPEG
		if what == "PNG" {
			of = imagemeta.PNG
		}
		if tags := tagsOf(t, b, of); tags["GPSLatitude"] == nil || tags["Make"] != place {
			t.Fatalf("%s: the test's own photo has no place: %v", what, tags)
		}
		_, out := view(t, b, 1600)
		if tags := tagsOf(t, out, imagemeta.JPEG); len(tags) != 0 {
			t.Errorf("%s: the view has %v", what, tags)
		}
		for _, word := range []string{place, "Exif", "ICC", "http://"} {
			if bytes.Contains(out, []byte(word)) {
				t.Errorf("%s: %q is in the view", what, word)
			}
		}
		for i := 2; i+4 < len(out) && out[i+1] != 0xDA; i += 2 + int(binary.BigEndian.Uint16(out[i+2:])) {
			if m := out[i+1]; m >= 0xE0 && m <= 0xEF || m == 0xFE { // APPn, COM
				t.Errorf("%s: the view has segment %#x", what, m)
			}
		}
	}
}

func tagsOf(t testing.TB, b []byte, of imagemeta.ImageFormat) map[string]any {
	t.Helper()
	tags := map[string]any{}
	_, err := imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(b), ImageFormat: of, Sources: imagemeta.EXIF | imagemeta.IPTC | imagemeta.XMP,
		ShouldHandleTag: func(imagemeta.TagInfo) bool { return true },
		HandleTag:       func(i imagemeta.TagInfo) error { tags[i.Tag] = i.Value; return nil }})
	if err != nil {
		t.Fatal(err)
	}
	return tags
}

// What the camera wrote may be damaged; the picture is shown as it lies then. No
// damage ends in a panic.
func TestADamagedPhotoIsShownOrRefused(t *testing.T) {
	whole := withExif(asJPEG(t, stored(1)), exif(binary.LittleEndian, "II", 99))
	img, _ := view(t, whole, 1600)
	isUpright(t, img)
	r := rand.New(rand.NewPCG(1, 2))
	shown := 0
	for range 300 {
		b := withExif(asJPEG(t, stored(6)), exif(binary.LittleEndian, "II", 6))
		for range 1 + r.IntN(4) {
			b[r.IntN(300)] = byte(r.Uint32())
		}
		if _, err := photo.Make(bytes.NewReader(b), 64); err == nil {
			shown++
		} else if !errors.Is(err, photo.ErrUnreadable) && !errors.Is(err, photo.ErrTooLarge) {
			t.Fatalf("%v", err)
		}
	}
	if shown == 0 {
		t.Error("none was shown")
	}
	if _, err := photo.Make(strings.NewReader("%PDF-1.7"), 64); !errors.Is(err, photo.ErrUnreadable) {
		t.Errorf("a PDF: %v", err)
	}
}

// A few bytes that claim to be a wall are refused by what they claim.
func TestABombIsRefusedBeforeItIsUnpacked_P10(t *testing.T) {
	small := asPNG(t, image.NewGray(image.Rect(0, 0, 2, 2)), nil)
	claim := func(w, h uint32, depth, kind byte) []byte {
		b := bytes.Clone(small)
		binary.BigEndian.PutUint32(b[16:], w)
		binary.BigEndian.PutUint32(b[20:], h)
		b[24], b[25] = depth, kind
		binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
		return b
	}
	for what, b := range map[string][]byte{
		"60,000 by 60,000 grey":           claim(60_000, 60_000, 8, 0),
		"8,192 by 8,192 and one row":      claim(8193, 8192, 8, 0),
		"6,000 by 6,000 in 16 bit colour": claim(6000, 6000, 16, 6),
		"a GIF":                           []byte("GIF89a\xff\xff\xff\xff\x00\x00\x00"),
	} {
		_, err := photo.Make(bytes.NewReader(b), 320)
		if !errors.Is(err, photo.ErrTooLarge) || !strings.Contains(err.Error(), "67 million") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := photo.Make(bytes.NewReader(claim(0, 5, 8, 0)), 320); !errors.Is(err, photo.ErrUnreadable) {
		t.Errorf("no width: %v", err)
	}
}

func TestTransparentIsWhiteAndAGIFIsItsFirstPicture(t *testing.T) {
	clear := image.NewNRGBA(image.Rect(0, 0, 40, 20))
	img, _ := view(t, asPNG(t, clear, nil), 1600)
	if !near(img.At(20, 10), color.RGBA{255, 255, 255, 255}) {
		t.Errorf("transparent became %v", img.At(20, 10))
	}
	red := image.NewPaletted(image.Rect(0, 0, 16, 16), color.Palette{color.RGBA{255, 0, 0, 255}})
	blue := image.NewPaletted(image.Rect(0, 0, 16, 16), color.Palette{color.RGBA{0, 0, 255, 255}})
	var b bytes.Buffer
	if err := gif.EncodeAll(&b, &gif.GIF{Image: []*image.Paletted{red, blue}, Delay: []int{1, 1}}); err != nil {
		t.Fatal(err)
	}
	if img, _ = view(t, b.Bytes(), 320); !near(img.At(8, 8), color.RGBA{255, 0, 0, 255}) {
		t.Errorf("the GIF became %v", img.At(8, 8))
	}
}

// One pixel of lossless WebP, of the examples that the format's reference library
// is tested with (a well-known smallest file, kept from memory; the standard
// library reads none).
func TestWebPIsRead(t *testing.T) {
	b := []byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00")
	img, _ := view(t, b, 320)
	if img.Bounds() != image.Rect(0, 0, 1, 1) {
		t.Errorf("%v", img.Bounds())
	}
}

func TestSizes(t *testing.T) {
	for _, c := range []struct{ w, h, side, wantW, wantH int }{
		{100, 50, 320, 100, 50}, {3200, 1600, 1600, 1600, 800}, {5, 4000, 320, 1, 320}, {4000, 3000, 1600, 1600, 1200}, {4000, 3001, 320, 320, 240},
	} {
		img, _ := view(t, asJPEG(t, image.NewGray(image.Rect(0, 0, c.w, c.h))), c.side)
		if img.Bounds().Dx() != c.wantW || img.Bounds().Dy() != c.wantH {
			t.Errorf("%+v: %v", c, img.Bounds())
		}
	}
}

// BenchmarkMake is a telephone's photo of 12 million pixels.
func BenchmarkMake(b *testing.B) {
	src := image.NewRGBA(image.Rect(0, 0, 4000, 3000))
	for i := range src.Pix {
		src.Pix[i] = byte(i * i >> 7)
	}
	in := asJPEG(b, src)
	for name, side := range map[string]int{"large": photo.LargeSide, "small": photo.SmallSide} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := photo.Make(bytes.NewReader(in), side); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
