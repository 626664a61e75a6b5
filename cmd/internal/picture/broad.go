package picture

import (
	"fmt"
	"math"

	"oldhand/projections"
)

// partScale is how many pixels a unit is in the parts of a broad grid: its letters
// come out as small print, and thirty years stand beside each other on a laptop.
const partScale = 1.0

// Broad is a grid with more columns than SVG's width holds, in one piece. A page
// lays Names and Cells side by side, so that the names of the rows stay where they
// are while the cells are moved below them. Head has the title, the finding and
// the key, and speaks for all three.
type Broad struct{ Head, Names, Cells []byte }

// BroadGrid draws a picture's grid in one piece, and reports false where SVG does
// so too, or where the picture is no grid.
func BroadGrid(p *projections.Picture) (d Broad, ok bool, err error) {
	if p == nil || p.Heat == nil {
		return d, false, nil
	}
	if err := checkHeat(p.Heat); err != nil {
		return d, false, fmt.Errorf("draw %q: %w", p.Title, err)
	}
	g := layOut(p.Heat, p.AxisX)
	if len(g.panels) == 1 {
		return d, false, nil
	}
	g.fill(math.MaxInt32) // as much room as the columns take
	g.cell = g.leastCell()
	var top pen
	bottom := g.key(&top, unitOf(&top, p, head(&top, p))+4)
	d.Head = wrapped(sheetOf{class: "pic", title: p.Title, desc: p.Desc, width: wide, height: bottom + margin}, top.Bytes(), Stylesheet())

	var names, cells pen
	rows := g.rowsFrom(g.tall + 3)
	g.side(&names, 0, rows)
	part := sheetOf{class: "pic part", title: p.Title, desc: p.Desc, mute: true, scale: partScale, width: margin + g.label + 6, height: g.columns(&cells, g.panels[0], 0, 0, rows) + 2}
	d.Names = wrapped(part, names.Bytes(), Stylesheet())
	part.width = g.across() + margin
	d.Cells = wrapped(part, cells.Bytes(), Stylesheet())
	return d, true, nil
}

// leastCell is the least width that a cell of the grid can do with. widthOf guesses
// from a wide font, so a little air is enough between two years.
func (g *grid) leastCell() float64 {
	if g.slanted {
		return cellLeast
	}
	_, word, _ := columnNames(g.Columns)
	return max(cellLeast, word+2.5)
}

// across is how far the columns reach, with the names that lean out.
func (g *grid) across() (w float64) {
	for _, j := range g.panels[0] {
		w += g.width(j)
		if g.Columns[j] == unknownName {
			w += unknownGap
		}
	}
	if g.slanted {
		_, _, name := columnNames(g.Columns)
		w += min(name, columnRoom) * math.Cos(slope)
	}
	return w
}
