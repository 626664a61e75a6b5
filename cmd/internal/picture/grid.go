package picture

import (
	"math"
	"slices"
	"strings"

	"oldhand/projections"
)

const (
	cellHeight  = 19.0
	cellMost    = 44.0
	cellLeast   = 27.0
	rowRoom     = 116.0 // for the name of a row
	columnRoom  = 118.0 // for the name of a column, where it is written slanting
	slope       = math.Pi / 3
	unknownGap  = 8.0
	unknownWide = 38.0 // for its second word
	unknownName = "not known"
)

// grid is a heat map laid out. A grid with more columns than fit is drawn in
// panels, one below the other, with the rows named in each.
type grid struct {
	*projections.PictureHeat
	axis    string
	label   float64 // room for the names of rows
	cell    float64 // a cell's width
	tall    float64 // height of the columns' names
	slanted bool    // whether these are written slanting
	panels  [][]int // columns of each
}

func layOut(h *projections.PictureHeat, axis string) *grid {
	g := &grid{PictureHeat: h, axis: axis, label: widthOf(axis, smallLetters)}
	for _, r := range h.Rows {
		g.label = max(g.label, widthOf(r, smallLetters))
	}
	g.label = min(g.label, rowRoom)
	g.fill(wide - 2*margin - g.label - 6)
	return g
}

// fill shares some room out among the columns.
func (g *grid) fill(room float64) {
	h := g.PictureHeat
	unknown := slices.Contains(h.Columns, unknownName)
	if unknown {
		room -= unknownGap
	}
	lines, word, name := columnNames(h.Columns)
	if least := max(cellLeast, word+4); lines <= 2 && least <= cellMost {
		if unknown {
			lines = 2
			room -= max(0, unknownWide-least)
		}
		g.divide(room, least)
		g.tall = 12*float64(lines) + 4
		return
	}
	// Slanting names lean out to the right of the last column.
	name = min(name, columnRoom)
	g.slanted = true
	g.divide(room-name*math.Cos(slope), cellLeast)
	g.tall = name*math.Sin(slope) + 12
}

// width is a column's width. What is not known is a word longer than a year.
func (g *grid) width(j int) float64 {
	if g.Columns[j] == unknownName && !g.slanted {
		return max(g.cell, unknownWide)
	}
	return g.cell
}

// columnNames tells how many lines the names take if they are broken between
// words, how wide the widest word is and how wide the widest name. What is not
// known has a width of its own.
func columnNames(names []string) (lines int, word, name float64) {
	for _, n := range names {
		if n == unknownName {
			name = max(name, widthOf(n, smallLetters))
			continue
		}
		words := strings.Fields(n)
		lines, name = max(lines, len(words)), max(name, widthOf(n, smallLetters))
		for _, w := range words {
			word = max(word, widthOf(w, smallLetters))
		}
	}
	return lines, word, name
}

// divide shares the columns out among panels, about as many to each, so that a
// cell has the width it needs. What is
// not known is no place on the axis: it goes last, a little apart.
func (g *grid) divide(room, least float64) {
	var order []int
	for _, unknown := range []bool{false, true} {
		for j, name := range g.Columns {
			if (name == unknownName) == unknown {
				order = append(order, j)
			}
		}
	}
	fit := min(len(order), max(1, int(room/least)))
	n := (len(order) + fit - 1) / fit
	g.panels = nil
	for k := range n {
		g.panels = append(g.panels, order[k*len(order)/n:(k+1)*len(order)/n])
	}
	most := (len(order) + n - 1) / n
	g.cell = min(cellMost, room/float64(most))
}
