package picture

import (
	"fmt"

	"oldhand/projections"
)

const (
	barRow    = 21.0
	labelMost = 132.0
	barLeast  = 90.0
	barMost   = 1e6 // with more figures the numbers would leave the bars no room
)

// barColumns are the places of a bar's parts, from left to right: label, bar,
// value, limits, count. The last three end at their places.
type barColumns struct {
	label, bar, barEnd     float64 // label is the room for it
	value, limits, counted float64
}

func drawBars(b *pen, p *projections.Picture, top float64) (float64, error) {
	most := 0.0
	for _, bar := range p.Bars {
		if !finite(bar.Value, bar.Lo, bar.Hi) {
			return 0, fmt.Errorf("bar %q is no number: %v, limits %v and %v", bar.Name, bar.Value, bar.Lo, bar.Hi)
		}
		if max(bar.Value, bar.Lo, bar.Hi) >= barMost {
			return 0, fmt.Errorf("bar %q is too large to draw: %v, limits %v and %v", bar.Name, bar.Value, bar.Lo, bar.Hi)
		}
		if bar.Value < 0 || bar.Lo < 0 || bar.Hi < 0 {
			return 0, fmt.Errorf("bar %q is below zero: %v, limits %v and %v", bar.Name, bar.Value, bar.Lo, bar.Hi)
		}
		most = max(most, bar.Value, bar.Hi)
	}
	if most < 1e-6 {
		most = 1 // nothing to see, but an axis all the same
	}
	headings := [3]string{"value", "limits", "count"}
	col := columnsFor(barTexts(p.Bars), headings)
	x := scale{0, most, col.bar, col.barEnd}
	y := top + 12
	col.head(b, y, headings)
	first := y + 6
	y = first
	for _, bar := range p.Bars {
		y += nameHeight(bar.Name, col.label, letters, barRow)
	}
	barAxis(b, p.AxisX, x, first, y)
	y = first
	for _, bar := range p.Bars {
		tall := nameHeight(bar.Name, col.label, letters, barRow)
		drawBar(b, bar, col, x, y+tall/2)
		y += tall
	}
	b.line("axis", x.from, first, x.from, y)
	return y + 28, nil
}

// rowTexts are the texts of a row: its name, and those on the right.
type rowTexts struct{ name, value, limits, count string }

func barTexts(bars []projections.PictureBar) (texts []rowTexts) {
	for _, bar := range bars {
		texts = append(texts, rowTexts{bar.Name, figure(bar.Value), limitsText(bar), bar.Text})
	}
	return texts
}

// columnsFor gives the texts on the right what they need, the labels what they
// need up to a limit, and the bars all the rest.
func columnsFor(rows []rowTexts, headings [3]string) (c barColumns) {
	value, limits := widthOf(headings[0], smallLetters), widthOf(headings[1], smallLetters)
	counted := widthOf(headings[2], smallLetters)
	for _, row := range rows {
		c.label = max(c.label, widthOf(row.name, letters))
		value = max(value, widthOf(row.value, letters))
		limits = max(limits, widthOf(row.limits, smallLetters))
		counted = max(counted, min(widthOf(row.count, smallLetters), 60))
	}
	c.counted = wide - margin
	c.limits = c.counted - counted - 8
	c.value = c.limits - limits - 8
	c.barEnd = c.value - value - 8
	c.label = min(c.label, labelMost, c.barEnd-barLeast-margin-7)
	c.bar = margin + c.label + 7
	return c
}

// head names the columns on the right.
func (c barColumns) head(b *pen, y float64, headings [3]string) {
	for i, at := range []float64{c.value, c.limits, c.counted} {
		b.text("soft small", at, y, "end", headings[i])
	}
}

func barAxis(b *pen, name string, x scale, top, bottom float64) {
	room := widthOf(figure(x.hi), smallLetters) + 10
	for _, v := range ticks(0, x.hi, min(5, int((x.to-x.from)/room)+1), false) {
		b.line("grid", x.at(v), top, x.at(v), bottom+3)
		b.text("soft small", x.at(v), bottom+14, "middle", figure(v))
	}
	b.fitted("soft small", (x.from+x.to)/2, bottom+28, "middle", name, wide-2*margin, smallLetters)
}

func drawBar(b *pen, bar projections.PictureBar, c barColumns, x scale, mid float64) {
	base := mid + 4
	b.named("ink", margin, mid, bar.Name, c.label, letters)
	b.rect("bar", x.from, mid-6.5, x.at(bar.Value)-x.from, 13)
	if hasLimits(bar) {
		lo, hi := x.at(bar.Lo), x.at(bar.Hi)
		b.path("whisker", fmt.Sprintf("M%s %sV%sM%s %sH%sM%s %sV%s", num(lo), num(mid-3.5), num(mid+3.5), num(lo), num(mid), num(hi), num(hi), num(mid-3.5), num(mid+3.5)))
	}
	b.text("ink strong", c.value, base, "end", figure(bar.Value))
	b.text("soft small", c.limits, base, "end", limitsText(bar))
	b.fitted("soft small", c.counted, base, "end", bar.Text, 60, smallLetters)
}

func hasLimits(bar projections.PictureBar) bool { return bar.Hi > bar.Lo }

func limitsText(bar projections.PictureBar) string {
	if !hasLimits(bar) {
		return "none"
	}
	return figure(bar.Lo) + "–" + figure(bar.Hi)
}
