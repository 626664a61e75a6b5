package tags

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"strconv"

	"oldhand/cmd/internal/paper"

	"golang.org/x/image/vector"
)

// SVG draws the label as lines, which print sharply at any size. It has its white
// ground and its size in millimetres with it.
func (d *Drawn) SVG() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %[1]s %[2]s" role="img" aria-labelledby="t"><title id="t">`, number(d.Size.W), number(d.Size.H))
	_ = xml.EscapeText(&b, []byte(d.Words())) // a buffer takes everything
	fmt.Fprintf(&b, "</title>\n<path fill=\"#fff\" d=\"M0 0h%sv%sH0z\"/>\n<path fill=\"#000\" shape-rendering=\"crispEdges\" d=\"", number(d.Size.W), number(d.Size.H))
	for _, r := range d.boxes {
		fmt.Fprintf(&b, "M%s %sh%sv%sH%sz", number(r.x), number(r.y), number(r.w), number(r.h), number(r.x))
	}
	b.WriteString("\"/>\n<path fill=\"#000\" d=\"")
	for _, t := range d.texts {
		for _, s := range paper.Outline(t.text, t.face, t.size, t.x, t.y) {
			b.WriteByte(s.Op)
			for i := range points(s.Op) {
				fmt.Fprintf(&b, "%s %s ", place(s.At[i][0]), place(s.At[i][1]))
			}
		}
	}
	b.WriteString("\"/>\n</svg>\n")
	return b.Bytes()
}

// Words say what the label is of, for whoever can't see it.
func (d *Drawn) Words() string {
	s := "tag " + d.Tag
	if name := d.Maker + " " + d.Model; name != " " {
		s += ", " + name
	}
	if d.Serial != "" {
		s += ", serial " + d.Serial
	}
	return s
}

// points is how many points a stroke has.
func points(op byte) int { return map[byte]int{'M': 1, 'L': 1, 'Q': 2, 'C': 3}[op] }

// place is a place of a letter: a thousandth of a millimetre is finer than any dot.
func place(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}

// DotsPerMM is how fine a picture of pixels is: two pixels a dot of a label printer.
const DotsPerMM = 16

// picture draws the label in pixels.
func (d *Drawn) picture() *image.Gray {
	w, h := int(math.Round(d.Size.W*DotsPerMM)), int(math.Round(d.Size.H*DotsPerMM))
	m := image.NewGray(image.Rect(0, 0, w, h))
	for i := range m.Pix {
		m.Pix[i] = 255
	}
	for _, r := range d.boxes {
		x0, y0 := pixel(r.x), pixel(r.y)
		for y := y0; y < pixel(r.y+r.h); y++ {
			for x := x0; x < pixel(r.x+r.w); x++ {
				m.SetGray(x, y, color.Gray{})
			}
		}
	}
	ink := vector.NewRasterizer(w, h)
	for _, t := range d.texts {
		for _, s := range paper.Outline(t.text, t.face, t.size, t.x, t.y) {
			trace(ink, s)
		}
	}
	ink.Draw(m, m.Bounds(), image.Black, image.Point{})
	return m
}

func pixel(mm float64) int { return int(math.Round(mm * DotsPerMM)) }

func trace(ink *vector.Rasterizer, s paper.Stroke) {
	var p [6]float32
	for i := range points(s.Op) {
		p[2*i], p[2*i+1] = float32(s.At[i][0]*DotsPerMM), float32(s.At[i][1]*DotsPerMM)
	}
	switch s.Op {
	case 'M':
		ink.ClosePath()
		ink.MoveTo(p[0], p[1])
	case 'L':
		ink.LineTo(p[0], p[1])
	case 'Q':
		ink.QuadTo(p[0], p[1], p[2], p[3])
	case 'C':
		ink.CubeTo(p[0], p[1], p[2], p[3], p[4], p[5])
	}
}

// PNG draws the label as a picture of pixels, with its size in it (PNG, 11.3.5.3
// pHYs), so that it prints as large as it is.
func (d *Drawn) PNG() ([]byte, error) {
	var b bytes.Buffer
	if err := png.Encode(&b, d.picture()); err != nil {
		return nil, err
	}
	return withDensity(b.Bytes(), DotsPerMM*1000), nil
}
