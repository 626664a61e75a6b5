package report

import (
	"fmt"

	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/qr"
	"oldhand/events"
)

// The sheet, in millimetres, and the sizes of letters, in points.
const (
	side   = 17.0 // margin left and right
	top    = 14.0
	bottom = 16.0 // the foot stands in it

	body  = 9.2
	small = 7.8
	head  = 10.2

	// MostSheets is how many a record takes at most.
	MostSheets = 2
)

// block is a piece of the record that is not broken over two sheets.
type block struct {
	h    float64
	draw func(d *paper.Doc, y float64)
	keep bool // it stands on the same sheet as what comes next
}

// cuts say how much of a long visit is shown: so many entries of each list, and so
// many lines of each text. Close is set where the lines stand closer.
type cuts struct {
	entries, lines int
	close          bool
}

// all cuts nothing.
const all = 1 << 20

// sheets is a record laid out.
type sheets struct {
	pages [][]placed
	left  int    // entries that are left out
	lacks string // what could not be printed
}

type placed struct {
	block
	y float64
}

// arrange lays a record out: on one sheet if it goes there with its lines a little
// closer, else on two, whole, else with its texts cut, else with its lists cut too,
// to as many entries each as there is room for.
func arrange(r *Record, size paper.Size) (sheets, error) {
	code := codeOf(r)
	for _, try := range []struct {
		cuts
		most int
	}{{cuts{all, all, false}, 1}, {cuts{all, all, true}, 1}, {cuts{all, all, false}, MostSheets}, {cuts{all, all, true}, MostSheets}, {cuts{all, 12, true}, MostSheets}, {cuts{all, 4, true}, MostSheets}} {
		if s := layOut(r, size, code, try.cuts); len(s.pages) <= try.most {
			return s, nil
		}
	}
	fits, over := -1, r.Entries()+1
	for over-fits > 1 {
		mid := (fits + over) / 2
		if s := layOut(r, size, code, cuts{mid, 3, true}); len(s.pages) <= MostSheets {
			fits = mid
		} else {
			over = mid
		}
	}
	if fits < 0 {
		return sheets{}, fmt.Errorf("lay the service record of %s out on %d sheets: not even its head fits", r.Where(), MostSheets)
	}
	return layOut(r, size, code, cuts{fits, 3, true}), nil
}

// layOut places the blocks below each other.
func layOut(r *Record, size paper.Size, code *qr.Code, c cuts) sheets {
	w := &writer{r: r, cuts: c, wide: size.W - 2*side, code: code}
	blocks := w.compose()
	floor := size.H - bottom
	s := sheets{left: w.left, lacks: w.spell.Says()}
	var page []placed
	y := top
	for i := 0; i < len(blocks); i++ {
		need := blocks[i].h
		for j := i; blocks[j].keep && j+1 < len(blocks); j++ {
			need += blocks[j+1].h
		}
		if y+need > floor && len(page) > 0 {
			s.pages, page, y = append(s.pages, page), nil, top
		}
		page = append(page, placed{blocks[i], y})
		y += blocks[i].h
	}
	s.pages = append(s.pages, page)
	return s
}

// writer makes blocks of a record.
type writer struct {
	r     *Record
	code  *qr.Code // of its tag; nil for none
	cuts  cuts
	wide  float64 // between the margins
	spell paper.Speller
	left  int  // entries
	cut   bool // a text was cut
	list  []block
}

// cutMark stands at the end of a text that goes on in the shop's book.
const cutMark = " (cut)"

func (w *writer) add(h float64, draw func(d *paper.Doc, y float64)) {
	w.list = append(w.list, block{h: h, draw: draw})
}

// keep holds the last block with the next.
func (w *writer) keep() { w.list[len(w.list)-1].keep = true }

// leading is the distance between two lines.
func (w *writer) leading(size float64) float64 {
	if w.cuts.close {
		return paper.LineHeight(size) * 0.92
	}
	return paper.LineHeight(size)
}

// lines are a text spelled, broken to a width and cut to as many as are shown.
func (w *writer) lines(text string, f paper.Face, size, wide float64) []string {
	lines := paper.Wrap(w.spell.Spell(text), f, size, wide)
	if len(lines) <= w.cuts.lines {
		return lines
	}
	w.cut = true
	lines = lines[:w.cuts.lines]
	last := &lines[len(lines)-1]
	*last = paper.Fit(*last+" …………", f, size, wide-paper.Width(cutMark, f, size)) + cutMark
	return lines
}

// shown is how many of a list are shown; what is not is counted.
func (w *writer) shown(n int) int {
	k := min(n, w.cuts.entries)
	w.left += n - k
	return k
}

// heading begins a section.
func (w *writer) heading(title string) {
	high := 8.2
	if w.cuts.close {
		high = 6.6
	}
	w.add(high, func(d *paper.Doc, y float64) {
		y += high - 8.2
		d.Text(side, y+6.0, paper.Bold, head, paper.Deep, title)
		x := side + paper.Width(title, paper.Bold, head) + 3
		d.Line(x, y+4.9, side+w.wide, y+4.9, 0.2, paper.Hair)
	})
	w.keep()
}

// paragraph is a text in its lines, from some place to the right margin.
func (w *writer) paragraph(text string, f paper.Face, size float64, ink paper.Ink, indent float64) {
	w.paragraphIn(text, f, size, ink, indent, w.wide)
}

func (w *writer) paragraphIn(text string, f paper.Face, size float64, ink paper.Ink, indent, to float64) {
	lines := w.lines(text, f, size, to-indent)
	high := w.leading(size)
	w.add(float64(len(lines))*high+0.7, func(d *paper.Doc, y float64) {
		for i, l := range lines {
			d.Text(side+indent, y+high*(float64(i)+0.8), f, size, ink, l)
		}
	})
}

// more says how many of a list are left out.
func (w *writer) more(n int, one string, many ...string) {
	if n > 0 {
		w.paragraph("and "+events.Count(n, one, many...)+" more, not on this paper", paper.Italic, small+0.4, paper.Soft, 0)
	}
}
