package tags

import (
	"fmt"
	"io"
	"math"
	"time"

	"oldhand/cmd/internal/paper"
)

// Onto is what labels are printed on.
type Onto struct {
	Paper paper.Size // zero for a label printer: each label is a page of its own
	Gap   float64    // millimetres between two labels
	Used  int        // labels of the first sheet that are gone already
	Lines bool       // hair lines around the labels, to cut along
}

// margin is what most printers leave white around a sheet, in millimetres.
const margin = 6.0

// grid is how labels lie on a sheet.
type grid struct {
	cols, rows int
	left, top  float64
}

func (o Onto) grid(size Size) (g grid, err error) {
	fit := func(room, one float64) int { return int(math.Floor((room-2*margin+o.Gap)/(one+o.Gap) + 1e-9)) }
	g.cols, g.rows = fit(o.Paper.W, size.W), fit(o.Paper.H, size.H)
	switch {
	case o.Gap < 0 || o.Gap > 50:
		return g, fmt.Errorf("gap of %s mm: want 0 to 50", number(o.Gap))
	case g.cols < 1 || g.rows < 1:
		return g, fmt.Errorf("label %s mm does not go on %s paper", size, o.Paper.Name)
	case o.Used < 0 || o.Used >= g.cols*g.rows:
		return g, fmt.Errorf("%d labels used: a sheet has %d, %d in a row", o.Used, g.cols*g.rows, g.cols)
	}
	middle := func(room, one float64, n int) float64 {
		return (room - float64(n)*one - float64(n-1)*o.Gap) / 2
	}
	g.left, g.top = middle(o.Paper.W, size.W, g.cols), middle(o.Paper.H, size.H, g.rows)
	return g, nil
}

// Sheet writes labels of one size as a PDF and says on how many sheets they are.
func Sheet(w io.Writer, labels []*Drawn, o Onto) (sheets int, err error) {
	if len(labels) == 0 {
		return 0, fmt.Errorf("print tags: there are none")
	}
	size := labels[0].Size
	g := grid{cols: 1, rows: 1}
	page := paper.Size{Name: "label", W: size.W, H: size.H}
	if o.Paper != (paper.Size{}) {
		page = o.Paper
		if g, err = o.grid(size); err != nil {
			return 0, err
		}
	} else {
		o = Onto{}
	}
	doc := paper.New(page, fmt.Sprintf("Tags %s", labels[0].Tag), "", last(labels))
	for i, l := range labels {
		at := (i + o.Used) % (g.cols * g.rows)
		if i == 0 || at == 0 {
			doc.Page()
		}
		x := g.left + float64(at%g.cols)*(size.W+o.Gap)
		y := g.top + float64(at/g.cols)*(size.H+o.Gap)
		if o.Lines {
			doc.Frame(x, y, size.W, size.H, 0.1, paper.Hair)
		}
		l.print(doc, x, y)
	}
	return doc.Pages(), doc.Write(w)
}

// last is when the newest of the sets was first written down: a sheet of the same
// tags is the same whenever it is printed.
func last(labels []*Drawn) (at time.Time) {
	for _, l := range labels {
		if l.Since.After(at) {
			at = l.Since
		}
	}
	return at
}

func (d *Drawn) print(doc *paper.Doc, x, y float64) {
	for _, r := range d.boxes {
		doc.Fill(x+r.x, y+r.y, r.w, r.h, paper.Black)
	}
	for _, t := range d.texts {
		doc.Text(x+t.x, y+t.y, t.face, t.size, paper.Black, t.text)
	}
}
