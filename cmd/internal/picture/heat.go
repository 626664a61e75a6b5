package picture

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"oldhand/projections"
)

// classes are the shares, in percent, from which each colour holds, above that
// of nothing at all. They are the same in every grid, so that two grids can be
// laid side by side.
var classes = []int{0, 5, 10, 20, 40}

func classOf(c projections.PictureCell) int {
	if c.Share == 0 {
		return 0
	}
	n := 0
	for _, from := range classes {
		if percent(c) >= from {
			n++
		}
	}
	return n
}

// percent is rounded first and coloured then, so that no number contradicts
// its colour.
func percent(c projections.PictureCell) int { return int(math.Round(c.Share * 100)) }

func percentText(c projections.PictureCell) string {
	if c.Share > 0 && percent(c) == 0 {
		return "<1"
	}
	return strconv.Itoa(percent(c))
}

func drawHeat(b *pen, p *projections.Picture, top float64) (float64, error) {
	if err := checkHeat(p.Heat); err != nil {
		return 0, err
	}
	g := layOut(p.Heat, p.AxisX)
	y := unitOf(b, p, top)
	for _, panel := range g.panels {
		y = g.panel(b, panel, y) + 10
	}
	return g.key(b, y), nil
}

// unitOf says what the numbers of a grid are.
func unitOf(b *pen, p *projections.Picture, top float64) (bottom float64) {
	unit := p.AxisY
	if unit == "" {
		unit = "percent of the units of each column"
	}
	b.fitted("soft small", margin, top+8, "start", unit, wide-2*margin, smallLetters)
	return top + 14
}

func checkHeat(h *projections.PictureHeat) error {
	if len(h.Columns) == 0 || len(h.Rows) == 0 {
		return fmt.Errorf("its grid has %d columns and %d rows", len(h.Columns), len(h.Rows))
	}
	if len(h.Cells) != len(h.Rows) {
		return fmt.Errorf("its grid has %d rows and cells for %d", len(h.Rows), len(h.Cells))
	}
	for i, row := range h.Cells {
		if len(row) != len(h.Columns) {
			return fmt.Errorf("row %q of its grid has %d cells for %d columns", h.Rows[i], len(row), len(h.Columns))
		}
		for j, c := range row {
			if !(c.Share >= 0 && c.Share <= 1) || c.Of < 0 {
				return fmt.Errorf("cell %q, %q of its grid holds %v of %d, want a share of a count", h.Rows[i], h.Columns[j], c.Share, c.Of)
			}
		}
	}
	return nil
}

// panel draws some of the columns with all rows.
func (g *grid) panel(b *pen, panel []int, top float64) float64 {
	rows := g.rowsFrom(top + g.tall + 3)
	g.side(b, top, rows)
	return g.columns(b, panel, margin+g.label+6, top, rows)
}

// side names the rows.
func (g *grid) side(b *pen, top float64, rows []box) {
	b.fitted("soft small", margin, top+g.tall-3, "start", g.axis, g.label, smallLetters)
	for i, at := range rows {
		b.named("ink small", margin, at.y+(at.h+1)/2, g.Rows[i], g.label, smallLetters)
	}
	b.text("soft small", margin, below(rows)+13, "start", "units")
}

// below is where rows end.
func below(rows []box) float64 {
	last := rows[len(rows)-1]
	return last.y + last.h + 1
}

// columns draws columns from a place on, with their names, shares and counts.
func (g *grid) columns(b *pen, panel []int, left, top float64, rows []box) float64 {
	x := make([]float64, len(panel))
	for k, j := range panel {
		x[k] = left + float64(k)*g.cell
		if k > 0 && g.Columns[j] == unknownName {
			x[k] += unknownGap
		}
		g.columnName(b, g.Columns[j], x[k]+g.width(j)/2, top+g.tall)
	}
	g.drawCells(b, panel, x, rows)
	for i, at := range rows {
		g.drawNumbers(b, i, panel, x, at)
	}
	return g.counts(b, panel, x, below(rows))
}

// rowsFrom are the heights of the rows, from one downwards.
func (g *grid) rowsFrom(y float64) []box {
	rows := make([]box, len(g.Rows))
	for i, name := range g.Rows {
		tall := nameHeight(name, g.label, smallLetters, cellHeight)
		rows[i] = box{y: y, h: tall - 1}
		y += tall
	}
	return rows
}

func (g *grid) columnName(b *pen, name string, mid, bottom float64) {
	if g.slanted {
		turn := fmt.Sprintf("rotate(-60 %s %s)", num(mid+3), num(bottom-2))
		b.fitted("soft small", mid+3, bottom-2, "start", name, columnRoom, smallLetters, "transform", turn)
		return
	}
	words := strings.Fields(name)
	for i, w := range words {
		b.text("soft small", mid, bottom-3-12*float64(len(words)-1-i), "middle", w)
	}
}

// box is a place: its upper left corner, its width and height.
type box struct{ x, y, w, h float64 }

// drawCells draws the shares in their colours. A grid has hundreds of cells, so
// those of one colour are one path; only what stands out is also said in words,
// in a title.
func (g *grid) drawCells(b *pen, panel []int, x []float64, rows []box) {
	fills := make([]strings.Builder, len(classes)+1)
	var unseen strings.Builder
	var marked pen
	for i, at := range rows {
		for k, j := range panel {
			at.x, at.w = x[k], g.width(j)-1
			c := g.Cells[i][j]
			if c.Of == 0 {
				unseen.WriteString(outline(box{at.x + 0.5, at.y + 0.5, at.w - 1, at.h - 1}))
				continue
			}
			fills[classOf(c)].WriteString(outline(at))
			if c.Flagged {
				marked.WriteString("<g>")
				marked.element("title", fmt.Sprintf("%s, %s: %s %% of %d, stands out", g.Rows[i], g.Columns[j], percentText(c), c.Of))
				marked.path(fmt.Sprintf("on%d", classOf(c)), mark(at))
				marked.WriteString("</g>\n")
			}
		}
	}
	for class := range fills {
		if fills[class].Len() > 0 {
			b.path(fmt.Sprintf("cell%d", class), fills[class].String())
		}
	}
	if unseen.Len() > 0 {
		b.path("unseen", unseen.String())
	}
	b.Write(marked.Bytes())
}

// drawNumbers writes a row's shares on their cells.
func (g *grid) drawNumbers(b *pen, i int, panel []int, x []float64, at box) {
	b.WriteString(`<g class="small" text-anchor="middle">` + "\n")
	for k, j := range panel {
		c := g.Cells[i][j]
		class, said := fmt.Sprintf("on%d", classOf(c)), percentText(c)
		if c.Of == 0 {
			class, said = "soft", "–"
		}
		b.element("text", said, "class", class, "x", x[k]+(g.width(j)-1)/2, "y", at.y+at.h/2+3.7)
	}
	b.WriteString("</g>\n")
}

// outline is a cell as a piece of a path.
func outline(at box) string {
	return fmt.Sprintf("M%s %sh%sv%sh%sz", num(at.x), num(at.y), num(at.w), num(at.h), num(-at.w))
}

// mark is the shape of a cell that stands out: a frame with its upper right
// corner filled.
func mark(at box) string {
	const edge, thick, corner = 1.2, 1.5, 7
	x, y, w, h := at.x+edge, at.y+edge, at.w-2*edge, at.h-2*edge
	return fmt.Sprintf("M%s %sh%sv%sh%sZM%s %sv%sh%sv%sl%s %sZ",
		num(x), num(y), num(w), num(h), num(-w),
		num(x+thick), num(y+thick), num(h-2*thick), num(w-2*thick), num(-(h - 2*thick - corner)), num(-corner), num(-corner))
}

// counts writes below each column of how many its shares are, where all of its
// cells agree on that.
func (g *grid) counts(b *pen, panel []int, x []float64, y float64) float64 {
	for k, j := range panel {
		of := g.Cells[0][j].Of
		for i := range g.Rows {
			if g.Cells[i][j].Of != of {
				of = -1
			}
		}
		said := strconv.Itoa(of)
		if of < 0 {
			said = "varies"
		}
		b.fitted("soft small", x[k]+(g.width(j)-1)/2, y+13, "middle", said, g.cell+4, smallLetters)
	}
	return y + 16
}

// key tells what the colours and marks are.
func (g *grid) key(b *pen, top float64) float64 {
	x, y := margin, top
	place := func(width float64) (float64, float64) {
		if x+width > wide-margin {
			x, y = margin, y+20
		}
		at := x
		x += width
		return at, y
	}
	for class := 0; class <= len(classes); class++ {
		said := classText(class)
		at, y := place(22 + widthOf(said, smallLetters) + 8)
		b.rect(fmt.Sprintf("cell%d", class), at, y, 16, 14)
		b.text("soft small", at+20, y+11, "start", said)
	}
	at, line := place(22 + widthOf("stands out", smallLetters) + 8)
	b.rect("cell1", at, line, 20, 14)
	b.path("on1", mark(box{at, line, 20, 14}))
	b.text("soft small", at+24, line+11, "start", "stands out")
	at, line = place(22 + widthOf("none seen", smallLetters) + 8)
	b.rect("unseen", at+0.5, line+0.5, 16, 13)
	b.text("soft small", at+8, line+11, "middle", "–")
	b.text("soft small", at+22, line+11, "start", "none seen")
	return line + 16
}

func classText(class int) string {
	switch class {
	case 0:
		return "0 %"
	case 1:
		return fmt.Sprintf("under %d %%", classes[1])
	case len(classes):
		return fmt.Sprintf("%d %% and more", classes[class-1])
	}
	return fmt.Sprintf("%d – %d %%", classes[class-1], classes[class]-1)
}
