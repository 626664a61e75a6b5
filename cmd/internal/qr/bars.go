package qr

import (
	"fmt"
	"image"
	"image/color"

	"github.com/boombuler/barcode/code128"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/oned"
)

const (
	// MaxBars is how many characters a bar code holds: as much as a hand scanner
	// reads in one stroke at arm's length.
	MaxBars = 24

	// QuietBars is the width of the quiet zone on either side, in modules (ISO/IEC 15417, 4.2.d).
	QuietBars = 10
)

// Bars is a Code 128 bar code (ISO/IEC 15417) that was read back. Hand scanners
// that read no QR codes read it.
type Bars struct {
	dark []bool // modules, without the quiet zones
}

// MakeBars makes the bar code of a short text of printable ASCII. Digits are
// packed two by two.
func MakeBars(text string) (Bars, error) {
	if text == "" || len(text) > MaxBars {
		return Bars{}, fmt.Errorf("draw a bar code: a text of %d bytes, want 1 to %d", len(text), MaxBars)
	}
	for _, r := range text {
		if r < ' ' || r > '~' {
			return Bars{}, fmt.Errorf("draw a bar code of %q: %q is not of ASCII", text, r)
		}
	}
	made, err := code128.Encode(text)
	if err != nil {
		return Bars{}, fmt.Errorf("draw a bar code: %w", err)
	}
	box := made.Bounds()
	b := Bars{make([]bool, box.Dx())}
	for x := range b.dark {
		b.dark[x] = color.GrayModel.Convert(made.At(box.Min.X+x, box.Min.Y)).(color.Gray).Y < 128
	}
	if read, err := readBars(b.picture(3)); err != nil || read != text {
		return Bars{}, fmt.Errorf("draw a bar code of %q: %w", text, ErrUnreadable)
	}
	return b, nil
}

// Size is how many modules it is wide, with its quiet zones.
func (b Bars) Size() int { return len(b.dark) + 2*QuietBars }

// Dark reports whether a module is dark, counted from 0 with the quiet zones.
func (b Bars) Dark(x int) bool {
	x -= QuietBars
	return x >= 0 && x < len(b.dark) && b.dark[x]
}

// picture draws the code with so many pixels a module, and as high as it is read
// well.
func (b Bars) picture(scale int) *image.Gray {
	m := image.NewGray(image.Rect(0, 0, b.Size()*scale, 30*scale))
	for i := range m.Pix {
		if !b.Dark(i % m.Stride / scale) {
			m.Pix[i] = 255
		}
	}
	return m
}

// readBars reads a bar code off a picture; try harder looks at more lines, and
// across too.
func readBars(m image.Image) (string, error) {
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		return "", err
	}
	res, err := oned.NewCode128Reader().Decode(bits, map[gozxing.DecodeHintType]interface{}{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		return "", err
	}
	return res.GetText(), nil
}
