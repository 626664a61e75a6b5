package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	_ "image/gif" // read by its header
	"image/jpeg"
	_ "image/png" // read by its header
	"io"
	"sync"

	"golang.org/x/image/draw"
	_ "golang.org/x/image/webp" // read by its header
)

const (
	// MaxPixels is what a photo may have: the largest that telephones make unasked.
	MaxPixels = 64 << 20

	// MaxMemory is what it may take unpacked, in bytes: a telephone's 64 million
	// pixels in JPEG, or 50 million of a screen's PNG.
	MaxMemory = 200 << 20

	// LargeSide and SmallSide are the longest side of what is made, in pixels: so
	// that a label can be read over a whole screen, and to choose from a row.
	LargeSide = 1600
	SmallSide = 320

	// quality is where JPEG's losses are not seen in writing.
	quality = 85
)

// ErrTooLarge is returned when a picture says that it would take too much.
var ErrTooLarge = errors.New("the picture is too large to be shown")

// ErrUnreadable is returned when bytes are no picture that can be read.
var ErrUnreadable = errors.New("the picture can't be read")

// one lets one picture be made at a time: that bounds the memory.
var one sync.Mutex

// Make gives a photo as a JPEG, turned upright, whose longest side is at most
// side pixels. A smaller one is not enlarged.
func Make(r io.ReadSeeker, side int) ([]byte, error) {
	one.Lock()
	defer one.Unlock()
	if err := checkSize(r); err != nil {
		return nil, err
	}
	turn, err := orientation(r)
	if err != nil {
		return nil, err
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	src, _, err := image.Decode(r)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrUnreadable, err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, turn.apply(shrink(src, side)), &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("encode the picture: %w", err)
	}
	return b.Bytes(), nil
}

// checkSize reads how large a picture is before memory is taken for it.
func checkSize(r io.ReadSeeker) error {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return err
	}
	c, _, err := image.DecodeConfig(r)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrUnreadable, err)
	}
	if c.Width <= 0 || c.Height <= 0 {
		return fmt.Errorf("%w: %d by %d pixels", ErrUnreadable, c.Width, c.Height)
	}
	pixels := int64(c.Width) * int64(c.Height)
	if pixels > MaxPixels || pixels*bytesPerPixel(c.ColorModel) > MaxMemory {
		return fmt.Errorf("%w: %d by %d pixels, and %d million, or %d MiB unpacked, are the most", ErrTooLarge, c.Width, c.Height, MaxPixels/1_000_000, MaxMemory>>20)
	}
	return nil
}

func bytesPerPixel(m color.Model) int64 {
	switch m {
	case color.GrayModel, color.AlphaModel:
		return 1
	case color.Gray16Model, color.Alpha16Model:
		return 2
	case color.YCbCrModel:
		return 3
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	if _, ok := m.(color.Palette); ok {
		return 1
	}
	return 4
}

// shrink draws a picture onto white, its longest side at most side. What is many
// times too large is halved roughly first: a good filter over all of it takes ten
// times as long and nobody sees the difference.
func shrink(src image.Image, side int) *image.RGBA {
	w, h := fit(src.Bounds().Dx(), src.Bounds().Dy(), side)
	if long := max(src.Bounds().Dx(), src.Bounds().Dy()); long > 2*side {
		src = onWhite(src, 2*w, 2*h, draw.ApproxBiLinear)
	}
	return onWhite(src, w, h, draw.BiLinear)
}

func onWhite(src image.Image, w, h int, how draw.Interpolator) *image.RGBA {
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(dst, dst.Bounds(), image.White, image.Point{}, draw.Src)
	how.Scale(dst, dst.Bounds(), src, src.Bounds(), draw.Over, nil)
	return dst
}

// fit is a size within a square, of the same shape.
func fit(w, h, side int) (int, int) {
	long := max(w, h)
	if long <= side {
		return w, h
	}
	return max(1, (w*side+long/2)/long), max(1, (h*side+long/2)/long)
}
