package report

import "oldhand/cmd/internal/paper"

// column is one of a table. Its share is of the width that is left by columns of a
// fixed width.
type column struct {
	title string
	fixed float64
	share float64
	right bool
}

const gutter = 3.0 // between two columns

// rowOf is one row of a table: its cells, and what is drawn beside them.
type rowOf struct {
	cells []string
	draw  func(d *paper.Doc, x, y, wide, high float64) // into the last column
}

// table is a heading row and rows that each stay whole.
func (w *writer) table(cols []column, rows []rowOf) {
	at, wide := w.columns(cols)
	w.add(4.6, func(d *paper.Doc, y float64) {
		for i, c := range cols {
			x := at[i]
			if c.right {
				x += wide[i] - paper.Width(c.title, paper.Regular, small)
			}
			d.Text(x, y+3.2, paper.Regular, small, paper.Soft, c.title)
		}
		d.Line(side, y+4.4, side+w.wide, y+4.4, 0.25, paper.Soft)
	})
	w.keep()
	for _, r := range rows {
		w.row(cols, at, wide, r)
	}
}

func (w *writer) columns(cols []column) (at, wide []float64) {
	room, shares := w.wide-gutter*float64(len(cols)-1), 0.0
	for _, c := range cols {
		room, shares = room-c.fixed, shares+c.share
	}
	x := side
	for _, c := range cols {
		one := c.fixed
		if c.share > 0 {
			one += room * c.share / shares
		}
		at, wide = append(at, x), append(wide, one)
		x += one + gutter
	}
	return at, wide
}

func (w *writer) row(cols []column, at, wide []float64, r rowOf) {
	lines, most := make([][]string, len(cols)), 1
	for i := range cols {
		if i < len(r.cells) && r.cells[i] != "" {
			lines[i] = w.lines(r.cells[i], paper.Regular, body, wide[i])
			most = max(most, len(lines[i]))
		}
	}
	line := w.leading(body)
	high := float64(most)*line + 1.5
	w.add(high, func(d *paper.Doc, y float64) {
		for i, c := range cols {
			for j, l := range lines[i] {
				x := at[i]
				if c.right {
					x += wide[i] - paper.Width(l, paper.Regular, body)
				}
				d.Text(x, y+0.6+line*(float64(j)+0.8), paper.Regular, body, paper.Black, l)
			}
		}
		if r.draw != nil {
			last := len(cols) - 1
			r.draw(d, at[last], y, wide[last], high)
		}
		d.Line(side, y+high, side+w.wide, y+high, 0.12, paper.Hair)
	})
}

// drawGauge draws one point's readings on a scale of its own: the limits as a band,
// as found as a ring, as left as a dot.
func drawGauge(g Gauge) func(d *paper.Doc, x, y, wide, high float64) {
	if !g.Drawn() {
		return nil
	}
	return func(d *paper.Doc, x, y, wide, high float64) {
		mid := y + high/2
		at := func(v float64) float64 { return x + g.At(v)*wide }
		if from, to, ok := g.Band(); ok {
			d.Fill(x+from*wide, mid-1.5, max((to-from)*wide, 0.4), 3, paper.Pale)
			for _, end := range []float64{g.Low, g.High} {
				if finite(end) {
					d.Line(at(end), mid-1.5, at(end), mid+1.5, 0.3, paper.Deep)
				}
			}
		}
		d.Line(x, mid, x+wide, mid, 0.12, paper.Hair)
		if lo, _ := g.Span(); lo == 0 {
			d.Line(x, mid-0.9, x, mid+0.9, 0.25, paper.Soft)
			d.Text(x-2, mid+0.9, paper.Regular, small-1.4, paper.Soft, "0")
		}
		if finite(g.Found) && finite(g.Left) {
			d.Line(at(g.Found), mid, at(g.Left), mid, 0.35, paper.Black)
		}
		if finite(g.Found) {
			d.Ring(at(g.Found), mid, 0.95, 0.3, paper.Black, false)
		}
		if finite(g.Left) {
			d.Ring(at(g.Left), mid, 0.95, 0.3, paper.Black, true)
		}
	}
}
