package paper

import (
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Stroke is a piece of a letter's outline, in millimetres: to the last of its
// points, from where the one before ended.
type Stroke struct {
	Op byte // M: go there; L: a line; Q: a curve with one point between; C: with two
	At [3][2]float64
}

// End is where a stroke ends.
func (s Stroke) End() [2]float64 {
	switch s.Op {
	case 'Q':
		return s.At[1]
	case 'C':
		return s.At[2]
	}
	return s.At[0]
}

// Outline is a line of text as outlines, for pictures that must look the same
// where these fonts are not. Y is the base line.
func Outline(text string, f Face, size, x, y float64) (strokes []Stroke) {
	c := cuts()[f]
	var b sfnt.Buffer
	em := float64(c.font.UnitsPerEm())
	scale := size * Point / em
	for _, r := range text {
		g, err := c.font.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		segments, err := c.font.LoadGlyph(&b, g, fixed.I(int(em)), nil)
		if err != nil {
			continue
		}
		for _, s := range segments {
			at := Stroke{Op: "MLQC"[s.Op]}
			for i, p := range s.Args {
				at.At[i] = [2]float64{x + float64(p.X)/64*scale, y + float64(p.Y)/64*scale}
			}
			strokes = append(strokes, at)
		}
		x += c.wide[r] * size * Point
	}
	return strokes
}
