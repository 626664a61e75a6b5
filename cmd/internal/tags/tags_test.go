package tags

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/draw"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/paper/papertest"
	"oldhand/cmd/internal/qr"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/oned"
	"github.com/makiuchi-d/gozxing/qrcode"
	"pgregory.net/rapid"
)

var set = Label{Tag: "10019", Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", Code: "10019", Since: time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)}

// decode reads both codes off a picture with the library itself.
func decode(t *testing.T, m image.Image) (square, bars string) {
	t.Helper()
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		t.Fatal(err)
	}
	hard := map[gozxing.DecodeHintType]interface{}{gozxing.DecodeHintType_TRY_HARDER: true}
	one, err := qrcode.NewQRCodeReader().Decode(bits, hard)
	if err != nil {
		t.Fatalf("QR code: %v", err)
	}
	two, err := oned.NewCode128Reader().Decode(bits, hard)
	if err != nil {
		t.Fatalf("bars: %v", err)
	}
	return one.GetText(), two.GetText()
}

// Both codes are read off the label as it is printed, at every size that is taken,
// with what a phone is to open too.
func TestBothCodesAreReadOffALabel(t *testing.T) {
	for _, size := range []string{"40x20", "50x25", "60x30", "62x29", "90x50", "40x40"} {
		for _, code := range []string{"10019", "https://192.168.1.20:4751/unit/10019"} {
			s, err := ParseSize(size)
			if err != nil {
				t.Fatal(err)
			}
			l := set
			l.Code = code
			d, err := Make(l, s)
			if err != nil {
				if code != "10019" && errors.As(err, new(*TooSmall)) && s.W <= 40 {
					continue
				}
				t.Fatal(err)
			}
			b, err := d.PNG()
			if err != nil {
				t.Fatal(err)
			}
			m, err := png.Decode(bytes.NewReader(b))
			if err != nil {
				t.Fatal(err)
			}
			if w := m.Bounds().Dx(); w != int(s.W*DotsPerMM) {
				t.Errorf("%s: %d pixels wide", size, w)
			}
			// Stuck on something dark: the quiet zones have to be the label's own.
			on := image.NewGray(image.Rect(0, 0, m.Bounds().Dx()+200, m.Bounds().Dy()+200))
			draw.Draw(on, m.Bounds().Add(image.Pt(100, 100)), m, image.Point{}, draw.Src)
			if square, bars := decode(t, on); square != code || bars != "10019" {
				t.Errorf("%s: read %q and %q", size, square, bars)
			}
			if got, err := qr.Read(on); err != nil || got != code {
				t.Errorf("%s: read as a photo %q, %v", size, got, err)
			}
		}
	}
}

// Whatever set it is: the label is made whole inside its edges, or refused with a
// size that will do.
func TestALabelStaysInsideItsEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := set
		l.Tag = rapid.StringMatching(`[1-9][0-9]{4,11}`).Draw(t, "tag")
		l.Code = rapid.SampledFrom([]string{l.Tag, "https://10.0.0.7:4751/unit/" + l.Tag}).Draw(t, "code")
		l.Maker, l.Model, l.Serial = rapid.String().Draw(t, "maker"), rapid.String().Draw(t, "model"), rapid.String().Draw(t, "serial")
		size := Size{rapid.Float64Range(5, 120).Draw(t, "w"), rapid.Float64Range(5, 80).Draw(t, "h")}
		d, err := Make(l, size)
		var small *TooSmall
		if errors.As(err, &small) {
			if d, err = Make(l, small.Least); err != nil {
				t.Fatalf("refused with a size that won't do either: %v, then %v", small, err)
			}
			size = small.Least
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range d.boxes {
			if b.x < -1e-9 || b.y < -1e-9 || b.x+b.w > size.W+1e-9 || b.y+b.h > size.H+1e-9 {
				t.Fatalf("%+v is outside of %s", b, size)
			}
			if dots := b.w / dot; math.Abs(dots-math.Round(dots)) > 1e-6 {
				t.Fatalf("a box of %v dots", dots)
			}
		}
		for _, w := range d.texts {
			if end := w.x + paper.Width(w.text, w.face, w.size); end > size.W && len([]rune(w.text)) > 1 || w.y > size.H || w.y < 0 {
				t.Fatalf("%q goes to %.1f, %.1f of %s", w.text, end, w.y, size)
			}
		}
	})
}

// Around the QR code four modules are white (ISO/IEC 18004, 6.3.8), on both sides of
// the bars ten of theirs (ISO/IEC 15417, 4.2), whatever else stands on the label.
func TestQuietZonesAreKept(t *testing.T) {
	for _, text := range []string{"40x20", "50x25", "60x30", "90x50", "40x40"} {
		size, err := ParseSize(text)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Make(set, size)
		if err != nil {
			t.Fatal(err)
		}
		var square, bars []box
		module, bar := d.boxes[0].h, math.Inf(1)
		for _, b := range d.boxes {
			if b.h > module+1e-9 {
				bars, bar = append(bars, b), min(bar, b.w)
			} else {
				square = append(square, b)
			}
		}
		left, right, top, low := math.Inf(1), 0.0, math.Inf(1), 0.0
		for _, b := range square {
			left, right, top, low = min(left, b.x), max(right, b.x+b.w), min(top, b.y), max(low, b.y+b.h)
		}
		first, last := bars[0].x, bars[len(bars)-1].x+bars[len(bars)-1].w
		const near = 1e-6
		for what, free := range map[string]float64{"left of the QR code": left - 4*module, "above it": top - 4*module, "below it": size.H - low - 4*module, "between it and the bars": first - right - max(4*module, 10*bar),
			"right of the bars": size.W - last - 10*bar, "between it and the words": d.texts[0].x - right - 4*module} {
			if free < -near {
				t.Errorf("%s: %.3f mm are missing %s", text, -free, what)
			}
		}
	}
}

func TestSizesAreReadAsTyped(t *testing.T) {
	for in, want := range map[string]Size{"": Usual, "60x30": {60, 30}, "62 × 29": {62, 29}, "50.8X25.4": {50.8, 25.4}} {
		if got, err := ParseSize(in); err != nil || got != want {
			t.Errorf("%q: %v, %v", in, got, err)
		}
	}
	for _, in := range []string{"60", "60x", "0x30", "-60x30", "60x9999", "NaNx30", "wide"} {
		if got, err := ParseSize(in); err == nil {
			t.Errorf("%q: %v", in, got)
		}
	}
}

func many(t *testing.T, n int, size Size) (list []*Drawn) {
	t.Helper()
	d, err := Make(set, size)
	if err != nil {
		t.Fatal(err)
	}
	for range n {
		list = append(list, d)
	}
	return list
}

// How many labels go on a sheet, worked out by hand: on A4 of 210 by 297 mm with
// 6 mm white around, 198 by 285 are left: 3 of 60 and 9 of 30. With 3 mm between:
// (198+3)/63 = 3.19 and (285+3)/33 = 8.7.
func TestLabelsFillASheet(t *testing.T) {
	for _, c := range []struct {
		onto         Onto
		n, sheets, a int // a: how many on the first
	}{
		{Onto{Paper: paper.A4}, 27, 1, 27}, {Onto{Paper: paper.A4}, 28, 2, 27}, {Onto{Paper: paper.A4, Gap: 3}, 25, 2, 24}, {Onto{Paper: paper.A4, Used: 20}, 8, 2, 7},
		{Onto{Paper: paper.Letter}, 24, 1, 24}, // 203.9 by 267.4: 3 of 60, 8 of 30
		{Onto{}, 3, 3, 1},
	} {
		var b bytes.Buffer
		sheets, err := Sheet(&b, many(t, c.n, Usual), c.onto)
		if err != nil || sheets != c.sheets {
			t.Errorf("%+v: %d sheets, %v", c.onto, sheets, err)
			continue
		}
		read, err := papertest.Read(b.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Count(read[0].Text(), "10019\nOstrel R-950\nno. E17-17750\n"); got != c.a {
			t.Errorf("%+v: %d labels on the first sheet, want %d", c.onto, got, c.a)
		}
		var again bytes.Buffer
		if _, err := Sheet(&again, many(t, c.n, Usual), c.onto); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
			t.Errorf("%+v: not the same again, %v", c.onto, err)
		}
	}
	for _, o := range []Onto{{Paper: paper.A4, Used: 27}, {Paper: paper.A4, Used: -1}, {Paper: paper.A4, Gap: -1}} {
		if _, err := Sheet(io.Discard, many(t, 1, Usual), o); err == nil {
			t.Errorf("%+v was taken", o)
		}
	}
	if _, err := Sheet(io.Discard, many(t, 1, Size{199, 150}), Onto{Paper: paper.A4}); err == nil {
		t.Error("a label wider than the sheet was taken")
	}
}

func TestAPictureSaysHowLargeItIs(t *testing.T) {
	d := many(t, 1, Usual)[0]
	b, err := d.PNG()
	if err != nil {
		t.Fatal(err)
	}
	// PNG, third edition, 11.3.4.3: pHYs, 16000 pixels a metre both ways, unit 1.
	if !bytes.Contains(b, []byte("pHYs\x00\x00\x3e\x80\x00\x00\x3e\x80\x01")) {
		t.Error("no density in the picture")
	}
	svg := d.SVG()
	dec := xml.NewDecoder(bytes.NewReader(svg))
	for {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{`width="60mm" height="30mm" viewBox="0 0 60 30"`, "tag 10019, Ostrel R-950, serial E17-17750"} {
		if !bytes.Contains(svg, []byte(want)) {
			t.Errorf("%s is not in the SVG", want)
		}
	}
}

// What the letters lack is said of a label as of a record, and nothing typed gets
// out of its title.
func TestALabelSaysWhatItsLettersLack(t *testing.T) {
	l := set
	l.Model = `日本 <script>"`
	d, err := Make(l, Usual)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(d.Lacks, "U+65E5 U+672C") || bytes.Contains(d.SVG(), []byte("<script>")) {
		t.Errorf("%q\n%s", d.Lacks, d.SVG())
	}
}
