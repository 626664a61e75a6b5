package picture

import (
	"errors"
	"fmt"
	"strings"

	"oldhand/projections"
)

const (
	trendRow   = 24.0
	trendLeast = 36.0 // of the line's width
	unknown    = "–"
)

// drawTrends draws a row for each value: its name, its line, and what it was in
// every column. Each line has its own height; what is compared stands in it,
// not between rows. Where numbers are so long that nothing is left for the lines, the
// first columns have none: the lines still follow them.
func drawTrends(b *pen, p *projections.Picture, top float64) (float64, error) {
	t := p.Trends
	if err := checkTrends(t); err != nil {
		return 0, err
	}
	first := 0
	ends, label, lineEnd := trendColumns(t, first)
	for lineEnd-margin-label < trendLeast && first < len(t.Columns)-1 {
		first++
		ends, label, lineEnd = trendColumns(t, first)
	}
	if lineEnd-margin-label < trendLeast {
		return 0, fmt.Errorf("the column %q is too wide to draw", t.Columns[first])
	}
	for j, name := range t.Columns[first:] {
		b.text("soft small", ends[first+j], top+12, "end", name)
	}
	y := top + 18
	for _, row := range t.Rows {
		b.line("grid", margin, y, wide-margin, y)
		drawTrend(b, row, box{margin + label + 8, y, lineEnd - margin - label - 16, trendRow})
		b.named("ink", margin, y+trendRow/2, row.Name, label, letters)
		for j := first; j < len(row.Values); j++ {
			v, class := row.Values[j], "soft small"
			if j == len(row.Values)-1 {
				class = "ink strong"
			}
			b.text(class, ends[j], y+trendRow/2+4, "end", trendFigure(v))
		}
		y += trendRow
	}
	return y, nil
}

func checkTrends(t *projections.PictureTrends) error {
	if len(t.Columns) == 0 || len(t.Rows) == 0 {
		return errors.New("its trends have no columns or no rows")
	}
	for _, row := range t.Rows {
		if len(row.Values) != len(t.Columns) {
			return fmt.Errorf("trend %q has %d values for %d columns", row.Name, len(row.Values), len(t.Columns))
		}
		for _, v := range row.Values {
			if finite(v) && (v >= barMost || v <= -barMost) {
				return fmt.Errorf("trend %q is too large to draw: %v", row.Name, v)
			}
		}
	}
	return nil
}

// trendColumns gives the numbers of the columns from the first that has some what they
// need, the names what they need up to a limit, and the lines the rest.
func trendColumns(t *projections.PictureTrends, first int) (ends []float64, label, lineEnd float64) {
	ends = make([]float64, len(t.Columns))
	right := wide - margin
	for j := len(ends) - 1; j >= first; j-- {
		ends[j] = right
		need := widthOf(t.Columns[j], smallLetters)
		for _, row := range t.Rows {
			need = max(need, widthOf(trendFigure(row.Values[j]), letters))
		}
		right -= need + 8
	}
	for _, row := range t.Rows {
		label = max(label, widthOf(row.Name, letters))
	}
	return ends, min(label, labelMost), right
}

func trendFigure(v float64) string {
	if !finite(v) {
		return unknown
	}
	return figure(v)
}

// drawTrend is the line alone, with a dot on the last value.
func drawTrend(b *pen, row projections.PictureTrend, at box) {
	lo, hi, any := span(row.Values)
	if !any {
		return
	}
	if lo == hi {
		lo, hi = lo-1, hi+1 // level values lie in the middle
	}
	last := lastOf(row.Values)
	x, y := scale{0, float64(max(len(row.Values)-1, 1)), at.x, at.x + at.w}, upright(lo, hi, at.y+5, at.y+at.h-5)
	if d := sparkPath(row.Values, x, y); strings.Contains(d, "L") {
		b.path("line0", d)
	}
	b.shape("circle", "class", "dot0", "cx", x.at(float64(last)), "cy", y.at(row.Values[last]), "r", 2.6)
}
