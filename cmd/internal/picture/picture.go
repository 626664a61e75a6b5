package picture

import (
	"bytes"
	"errors"
	"fmt"
	"hash/fnv"

	"oldhand/projections"
)

// Every picture is so many units wide. At 390 pixels a unit is just below one,
// which is what the sizes of the letters are chosen for.
const (
	wide   = 420.0
	margin = 10.0
)

var errNothing = errors.New("draw a picture: there are no numbers to draw")

// SVG draws a picture. Of its curves, bars, grid, trends and ranges
// just one must be filled.
func SVG(p *projections.Picture) ([]byte, error) {
	if p == nil {
		return nil, errNothing
	}
	draw, err := kindOf(p)
	if err != nil {
		return nil, fmt.Errorf("draw %q: %w", p.Title, err)
	}
	var body pen
	bottom, err := draw(&body, p, head(&body, p))
	if err != nil {
		return nil, fmt.Errorf("draw %q: %w", p.Title, err)
	}
	return wrapped(sheetOf{"pic", p.Title, p.Desc, wide, bottom + margin}, body.Bytes(), Stylesheet()), nil
}

// drawing draws below a height and gives the height it came down to.
type drawing func(b *pen, p *projections.Picture, top float64) (bottom float64, err error)

func kindOf(p *projections.Picture) (drawing, error) {
	var kinds []drawing
	if len(p.Curves) > 0 {
		kinds = append(kinds, drawCurves)
	}
	if len(p.Bars) > 0 {
		kinds = append(kinds, drawBars)
	}
	if p.Heat != nil {
		kinds = append(kinds, drawHeat)
	}
	if p.Trends != nil {
		kinds = append(kinds, drawTrends)
	}
	if len(p.Ranges) > 0 {
		kinds = append(kinds, drawRanges)
	}
	switch len(kinds) {
	case 0:
		return nil, errors.New("it has no curves, no bars, no grid, no trends and no ranges")
	case 1:
		return kinds[0], nil
	}
	return nil, errors.New("it has more than one of curves, bars, grid, trends and ranges")
}

// head writes the title and the finding, so that a picture that was saved or
// printed still says what it shows.
func head(b *pen, p *projections.Picture) (bottom float64) {
	y := margin
	for _, line := range wrap(p.Title, wide-2*margin, bigLetters) {
		y += 17
		b.text("ink big", margin, y, "start", line)
	}
	if p.Title != "" {
		y += 3
	}
	for _, line := range wrap(p.Desc, wide-2*margin, letters) {
		y += 16
		b.text("soft", margin, y, "start", line)
	}
	return y + 10
}

// sheetOf is what stands around a drawing.
type sheetOf struct {
	class         string
	title, desc   string
	width, height float64
}

// wrapped puts a drawing into its svg element. The ids are made from what is
// drawn: two pictures on one page must not name each other's titles.
func wrapped(s sheetOf, body []byte, style string) []byte {
	sum := fnv.New64a()
	fmt.Fprintf(sum, "%q %q ", s.title, s.desc)
	sum.Write(body)
	id := fmt.Sprintf("pic-%016x", sum.Sum64())
	var b pen
	b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg"`)
	b.attrs("class", s.class, "role", "img", "aria-labelledby", id+"-title "+id+"-desc", "viewBox", "0 0 "+num(s.width)+" "+num(s.height))
	b.WriteString(">\n")
	b.element("title", s.title, "id", id+"-title")
	b.element("desc", s.desc, "id", id+"-desc")
	b.WriteString("<style>\n" + style + "</style>\n")
	b.rect("paper", 0, 0, s.width, s.height)
	b.Write(body)
	b.WriteString("</svg>\n")
	return bytes.Clone(b.Bytes())
}
