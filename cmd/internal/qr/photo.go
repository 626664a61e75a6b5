package qr

import (
	"errors"
	"fmt"
	"image"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"golang.org/x/image/draw"
)

// ErrNoCode is returned when no code was found in a picture.
var ErrNoCode = errors.New("no QR code and no bar code was found in the picture")

// sides are how large a photo is looked at, in pixels of its longest side, one after
// the other. The reader fails at one size and not at the next; a large one takes it
// half a second.
var sides = []int{1200, 800, 500}

// Read looks for a code in a photo: a QR code first, then bars. The photo should be
// no larger than some 1200 pixels; see package photo.
func Read(m image.Image) (string, error) {
	for _, look := range []func(image.Image) (string, error){readHard, readBars} {
		for _, side := range sides {
			small := smaller(m, side)
			if small == nil {
				continue
			}
			if text, err := guarded(look, small); err == nil && text != "" {
				return text, nil
			}
		}
	}
	return "", ErrNoCode
}

// readHard is read for a photo: the code may be small, or stand askew.
func readHard(m image.Image) (string, error) {
	bits, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		return "", err
	}
	res, err := qrcode.NewQRCodeReader().Decode(bits, map[gozxing.DecodeHintType]interface{}{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		return "", err
	}
	return res.GetText(), nil
}

// guarded keeps what goes wrong inside the reading library from ending the program:
// what it is given here is anybody's picture.
func guarded(look func(image.Image) (string, error), m image.Image) (text string, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("read a code in a picture: %v", p)
		}
	}()
	return look(m)
}

// smaller is the picture with its longest side as asked for; as it is where it is
// smaller than the largest of the sides, and nil where that was looked at already.
func smaller(m image.Image, side int) image.Image {
	b := m.Bounds()
	long := max(b.Dx(), b.Dy())
	switch {
	case b.Empty():
		return nil
	case long <= side:
		if side == sides[0] {
			return m
		}
		return nil
	}
	small := image.NewGray(image.Rect(0, 0, max(1, b.Dx()*side/long), max(1, b.Dy()*side/long)))
	draw.BiLinear.Scale(small, small.Bounds(), m, b, draw.Src, nil)
	return small
}
