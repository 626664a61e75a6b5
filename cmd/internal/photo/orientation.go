package photo

import (
	"image"
	"io"

	"github.com/bep/imagemeta"
)

// turning is Exif's orientation: where the picture's first row and first column
// of pixels belong, as it is to be seen.
//
//	1  row at the top,    column at the left    as it is
//	2  row at the top,    column at the right   mirrored
//	3  row at the bottom, column at the right   half a turn
//	4  row at the bottom, column at the left    upside down and mirrored
//	5  row at the left,   column at the top     mirrored along the diagonal
//	6  row at the right,  column at the top     a quarter to the right
//	7  row at the right,  column at the bottom  mirrored along the other diagonal
//	8  row at the left,   column at the bottom  a quarter to the left
type turning int

// formats are what package imagemeta is told that the bytes are: it does not look
// by itself.
var formats = map[string]imagemeta.ImageFormat{
	"jpeg": imagemeta.JPEG,
	"png":  imagemeta.PNG,
	"webp": imagemeta.WebP,
}

// mostTags is how many tags are looked through: the one that is wanted is among
// the first of a camera's hundred or so.
const mostTags = 1000

// orientation reads which way is up. What the camera wrote may be damaged while
// the picture is not; then it is taken as it is.
func orientation(r io.ReadSeeker) (turning, error) {
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return 1, err
	}
	_, format, err := image.DecodeConfig(r)
	if err != nil {
		return 1, err
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return 1, err
	}
	turn := turning(1)
	of, ok := formats[format]
	if !ok {
		return turn, nil
	}
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: r, ImageFormat: of, Sources: imagemeta.EXIF, LimitNumTags: mostTags,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool { return t.Namespace == "IFD0" && t.Tag == "Orientation" },
		HandleTag: func(t imagemeta.TagInfo) error {
			if n, ok := t.Value.(uint16); ok && n >= 1 && n <= 8 {
				turn = turning(n)
			}
			return imagemeta.ErrStopWalking
		},
	})
	return turn, nil
}

// apply turns a picture upright.
func (t turning) apply(src *image.RGBA) *image.RGBA {
	if t <= 1 {
		return src
	}
	w, h := src.Bounds().Dx(), src.Bounds().Dy()
	size := image.Rect(0, 0, w, h)
	if t >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	dst := image.NewRGBA(size)
	for y := range h {
		for x := range w {
			to, from := dst.PixOffset(t.place(x, y, w, h)), src.PixOffset(x, y)
			copy(dst.Pix[to:to+4], src.Pix[from:from+4])
		}
	}
	return dst
}

// place is where the pixel in column x and row y of a picture belongs.
func (t turning) place(x, y, w, h int) (int, int) {
	switch t {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return h - 1 - y, x
	case 7:
		return h - 1 - y, w - 1 - x
	case 8:
		return y, w - 1 - x
	}
	return x, y
}
