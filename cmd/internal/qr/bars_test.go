package qr

import (
	"errors"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"golang.org/x/image/draw"
	"golang.org/x/image/math/f64"
	"pgregory.net/rapid"
)

// Widths of bars and spaces of some symbols of Code 128 (ISO/IEC 15417, table 1;
// from memory): Start C 211232, Stop 2331112, values 16 123122 and
// 34 131123.
func TestBarsAreThoseOfTheStandard(t *testing.T) {
	b, err := MakeBars("1634")
	if err != nil {
		t.Fatal(err)
	}
	// Behind them stands the check symbol, 105 + 1*16 + 2*34 = 189 modulo 103; that it is
	// right, the reader checks.
	got := widths(b)
	for i, want := range []string{"211232", "123122", "131123"} {
		if have := got[i*6 : i*6+6]; have != want {
			t.Errorf("symbol %d is %s, want %s", i, have, want)
		}
	}
	if !strings.HasSuffix(got, "2331112") || b.Size() != 4*11+13+2*10 {
		t.Errorf("widths %s, size %d", got, b.Size())
	}
}

// widths are how wide the bars and the spaces between them are, a digit each.
func widths(b Bars) string {
	var s strings.Builder
	for i := 0; i < len(b.dark); {
		from := i
		for i < len(b.dark) && b.dark[i] == b.dark[from] {
			i++
		}
		s.WriteByte(byte('0' + i - from))
	}
	return s.String()
}

func TestBarsHaveTheirQuietZones(t *testing.T) {
	b, err := MakeBars("10019")
	if err != nil {
		t.Fatal(err)
	}
	for i := range 10 {
		if b.Dark(i) || b.Dark(b.Size()-1-i) {
			t.Fatalf("dark %d from the edge", i)
		}
	}
	if !b.Dark(10) || !b.Dark(b.Size()-11) {
		t.Error("no bars behind the quiet zones")
	}
}

func TestAnyTagHasBarsThatAreRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[0-9]{5,12}`).Draw(t, "tag")
		b, err := MakeBars(text)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := readBars(b.picture(2)); err != nil || got != text {
			t.Fatalf("%s is read as %q, %v", text, got, err)
		}
	})
}

func TestWhatNoBarsHoldIsRefused(t *testing.T) {
	for _, text := range []string{"", strings.Repeat("7", MaxBars+1), "Ω", "10\n19"} {
		if _, err := MakeBars(text); err == nil || errors.Is(err, ErrUnreadable) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// snapshot is a picture as a telephone takes it: askew, on a bench of some other
// colour, with noise and unevenly lit. Seed is of the noise.
func snapshot(code image.Image, degrees float64, scale float64, seed uint64) image.Image {
	m := image.NewGray(image.Rect(0, 0, 1200, 900))
	for i := range m.Pix {
		m.Pix[i] = 120
	}
	b := code.Bounds()
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	cx, cy := float64(b.Dx())/2, float64(b.Dy())/2
	to := f64.Aff3{cos * scale, -sin * scale, 600 - scale*(cos*cx-sin*cy), sin * scale, cos * scale, 450 - scale*(sin*cx+cos*cy)}
	draw.BiLinear.Transform(m, to, code, b, draw.Src, nil)
	dice := rand.New(rand.NewPCG(seed, 2))
	for i := range m.Pix {
		light := 0.75 + 0.25*float64(i%m.Stride)/float64(m.Stride)
		m.Pix[i] = uint8(max(0, min(255, float64(m.Pix[i])*light+dice.NormFloat64()*8)))
	}
	return m
}

func TestCodesAreReadOffPhotos(t *testing.T) {
	c := made(t, "https://192.168.1.20:4751/unit/10019")
	b, err := MakeBars("10019")
	if err != nil {
		t.Fatal(err)
	}
	for i, degrees := range []float64{0, 7, 30, 90, 135, 180} {
		if got, err := Read(snapshot(c.picture(4), degrees, 2, uint64(i))); err != nil || got != "https://192.168.1.20:4751/unit/10019" {
			t.Errorf("QR at %v degrees: %q, %v", degrees, got, err)
		}
	}
	for i, degrees := range []float64{0, 5, 90, 180} {
		if got, err := Read(snapshot(b.picture(3), degrees, 2, uint64(i))); err != nil || got != "10019" {
			t.Errorf("bars at %v degrees: %q, %v", degrees, got, err)
		}
	}
}

// A picture without a code gives nothing, whatever it is, and nothing breaks.
func TestAPictureWithoutACodeSaysSo(t *testing.T) {
	dice := rand.New(rand.NewPCG(3, 4))
	noise := image.NewRGBA(image.Rect(0, 0, 300, 200))
	for i := range noise.Pix {
		noise.Pix[i] = uint8(dice.IntN(256))
	}
	for name, m := range map[string]image.Image{"noise": noise, "white": image.NewUniform(color.White), "a dot": image.NewGray(image.Rect(0, 0, 1, 1)), "none": image.NewGray(image.Rect(0, 0, 0, 0))} {
		if u, ok := m.(*image.Uniform); ok {
			g := image.NewGray(image.Rect(0, 0, 1000, 20))
			draw.Draw(g, g.Bounds(), u, image.Point{}, draw.Src)
			m = g
		}
		if text, err := Read(m); !errors.Is(err, ErrNoCode) {
			t.Errorf("%s: %q, %v", name, text, err)
		}
	}
}
