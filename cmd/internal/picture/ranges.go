package picture

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"oldhand/projections"
)

const (
	rangeMost   = 1e15 // with more figures a number is no longer what was read
	rangeLegend = "line: smallest to largest; box: usual; stroke: middle"
)

var rangeHeadings = [3]string{"middle", "usual", "sets"}

// drawRanges draws a strip for each row: a line over all that was seen, a box on
// the usual part and a stroke in the middle. Rows of one thing stand under its
// name, on one scale of their own.
func drawRanges(b *pen, p *projections.Picture, top float64) (float64, error) {
	var texts []rowTexts
	for _, r := range p.Ranges {
		if err := checkRange(r); err != nil {
			return 0, err
		}
		texts = append(texts, rowTexts{r.Name, rangeFigure(r.Middle), usualText(r), r.Text})
	}
	col := columnsFor(texts, rangeHeadings)
	y := top + 12
	col.head(b, y, rangeHeadings)
	for i, j := 0, 0; i < len(p.Ranges); i = j {
		for j = i; j < len(p.Ranges) && p.Ranges[j].Of == p.Ranges[i].Of && p.Ranges[j].In == p.Ranges[i].In; j++ {
		}
		y = drawRangesOf(b, p.Ranges[i:j], col, y)
	}
	b.fitted("soft small", margin, y+10, "start", rangeLegend, wide-2*margin, smallLetters)
	return y + 14, nil
}

func checkRange(r projections.PictureRange) error {
	ends := []float64{r.Least, r.Middle, r.Most}
	if r.Usual {
		ends = []float64{r.Least, r.Low, r.Middle, r.High, r.Most}
	}
	for _, v := range ends {
		switch {
		case !finite(v):
			return fmt.Errorf("range %q is no number: %v", r.Name, ends)
		case math.Abs(v) >= rangeMost:
			return fmt.Errorf("range %q is too large to draw: %v", r.Name, ends)
		}
	}
	if !slices.IsSorted(ends) {
		return fmt.Errorf("range %q does not rise from its smallest value to its largest: %v", r.Name, ends)
	}
	return nil
}

// drawRangesOf draws the rows of one thing below its name.
func drawRangesOf(b *pen, rows []projections.PictureRange, col barColumns, top float64) float64 {
	lo, hi := rows[0].Least, rows[0].Most
	for _, r := range rows {
		lo, hi = min(lo, r.Least), max(hi, r.Most)
	}
	if lo == hi {
		lo, hi = lo-max(1, math.Abs(lo)/10), hi+max(1, math.Abs(hi)/10) // one value lies in the middle
	}
	x := scale{lo, hi, col.bar, col.barEnd}
	y := top + 17
	b.fitted("ink strong", margin, y, "start", rows[0].Of+unitText(rows[0].In), wide-2*margin, letters)
	y += 5
	first := y
	for _, r := range rows {
		y += nameHeight(r.Name, col.label, letters, barRow)
	}
	rangeAxis(b, x, first, y)
	y = first
	for _, r := range rows {
		tall := nameHeight(r.Name, col.label, letters, barRow)
		drawRange(b, r, col, x, y+tall/2)
		y += tall
	}
	return y + 18
}

func unitText(unit string) string {
	if unit == "" {
		return ""
	}
	return ", " + unit
}

// rangeAxis is like that of bars, but need not begin at zero.
func rangeAxis(b *pen, x scale, top, bottom float64) {
	for _, v := range roomyTicks(x) {
		b.line("grid", x.at(v), top, x.at(v), bottom+3)
		b.text("soft small", x.at(v), bottom+13, "middle", rangeFigure(v))
	}
	b.line("axis", x.from, bottom, x.to, bottom)
}

// roomyTicks are as many ticks as have room for their figures beside each other.
func roomyTicks(x scale) (list []float64) {
	for most := 5; most > 1; most-- {
		list = ticks(x.lo, x.hi, most, false)
		fits := true
		for i := 1; i < len(list); i++ {
			half := (widthOf(rangeFigure(list[i-1]), smallLetters) + widthOf(rangeFigure(list[i]), smallLetters)) / 2
			fits = fits && x.at(list[i])-x.at(list[i-1]) >= half+8
		}
		if fits {
			break
		}
	}
	return list
}

// boxLeast is how wide a box is at least: one that is narrower can't be seen
// beside the stroke in it.
const boxLeast = 2.0

func drawRange(b *pen, r projections.PictureRange, c barColumns, x scale, mid float64) {
	b.named("ink", margin, mid, r.Name, c.label, letters)
	least, most := x.at(r.Least), x.at(r.Most)
	if r.Usual {
		low, high := x.at(r.Low), x.at(r.High)
		if gap := boxLeast - (high - low); gap > 0 {
			low, high = low-gap/2, high+gap/2
		}
		b.rect("bar", low, mid-5.5, high-low, 11)
	}
	at := x.at(r.Middle)
	var d strings.Builder
	fmt.Fprintf(&d, "M%s %sV%s", num(least), num(mid-3), num(mid+3))
	if most-least >= leastSeen {
		fmt.Fprintf(&d, "M%s %sH%sM%s %sV%s", num(least), num(mid), num(most), num(most), num(mid-3), num(mid+3))
	}
	fmt.Fprintf(&d, "M%s %sV%s", num(at), num(mid-7), num(mid+7))
	b.path("whisker", d.String())
	b.text("ink strong", c.value, mid+4, "end", rangeFigure(r.Middle))
	b.text("soft small", c.limits, mid+4, "end", usualText(r))
	b.fitted("soft small", c.counted, mid+4, "end", r.Text, 60, smallLetters)
}

func usualText(r projections.PictureRange) string {
	if !r.Usual {
		return "none"
	}
	low, high := rangeFigure(r.Low), rangeFigure(r.High)
	if strings.HasPrefix(low, "-") || strings.HasPrefix(high, "-") {
		return low + " to " + high // a dash between would read as a sign
	}
	return low + "–" + high
}

// rangeFigure is a figure that keeps its room: a million ohms are 1e+06.
func rangeFigure(v float64) string {
	if math.Abs(v) >= barMost {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return figure(v)
}
