package qr

import (
	"errors"
	"fmt"
	"image"
	"image/color"

	"github.com/boombuler/barcode/qr"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

const (
	// MaxText is how much a code holds: what a terminal of 80 columns can show
	// with its quiet zone, and a cheap camera can read off it.
	MaxText = 300

	// Quiet is the width of the quiet zone (ISO/IEC 18004, section 6.3.8).
	Quiet = 4
)

// Code is a QR code that was read back.
type Code struct {
	dark [][]bool // rows of modules, without the quiet zone
}

// ErrUnreadable is returned when no code of a text could be read back.
var ErrUnreadable = errors.New("no picture of it can be read; type it")

// Make makes the code of a text.
func Make(text string) (Code, error) {
	if text == "" || len(text) > MaxText {
		return Code{}, fmt.Errorf("draw a QR code: a text of %d bytes, want 1 to %d", len(text), MaxText)
	}
	// M mends 15 of 100 modules, which is the usual strength for a screen.
	for _, strength := range []qr.ErrorCorrectionLevel{qr.M, qr.Q, qr.L, qr.H} {
		made, err := qr.Encode(text, strength, qr.Auto)
		if err != nil {
			return Code{}, fmt.Errorf("draw a QR code: %w", err)
		}
		c := modules(made)
		if read, err := read(c.picture(readScale)); err == nil && read == text {
			return c, nil
		}
	}
	return Code{}, fmt.Errorf("draw a QR code: %w", ErrUnreadable)
}

// modules takes the library's picture, a pixel a module.
func modules(made image.Image) Code {
	b := made.Bounds()
	rows := make([][]bool, b.Dy())
	for y := range rows {
		rows[y] = make([]bool, b.Dx())
		for x := range rows[y] {
			rows[y][x] = color.GrayModel.Convert(made.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y < 128
		}
	}
	return Code{rows}
}

// readScale is how many pixels a module has for reading back: about what a
// telephone sees of a screen.
const readScale = 4

// read reads a picture as a camera would: it looks for the corners.
func read(m image.Image) (string, error) {
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		return "", err
	}
	res, err := qrcode.NewQRCodeReader().Decode(bits, nil)
	if err != nil {
		return "", err
	}
	return res.GetText(), nil
}

// Size is how many modules the code is wide and high, with its quiet zone.
func (c Code) Size() int { return len(c.dark) + 2*Quiet }

// Dark reports whether a module is dark, for whoever draws the code himself. Both
// are counted from 0 with the quiet zone.
func (c Code) Dark(x, y int) bool { return c.at(x, y) }

// at reports whether a module is dark, counted with the quiet zone. Outside
// everything is light.
func (c Code) at(x, y int) bool {
	x, y = x-Quiet, y-Quiet
	return y >= 0 && y < len(c.dark) && x >= 0 && x < len(c.dark) && c.dark[y][x]
}
