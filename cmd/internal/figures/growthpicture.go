package main

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"html"
	"math"
	"slices"
	"strings"

	"oldhand/cmd/internal/picture"
)

// The picture's measures, in the units of package picture, whose style it has. That
// package draws no lines over two logarithms, since no answer needs them.
const (
	growthWide   = 760.0
	growthLeft   = 58.0
	growthRight  = 470.0 // where the lines end and their names begin
	growthHeight = 420.0
	nameHeight   = 14.0
)

// plane puts sizes and seconds on the picture, both logarithmic.
type plane struct {
	x0, x1, y0, y1 float64 // powers of ten at the ends
	top            float64
}

func (p plane) x(events float64) float64 {
	return growthLeft + (math.Log10(events)-p.x0)/(p.x1-p.x0)*(growthRight-growthLeft)
}

func (p plane) y(took float64) float64 {
	return p.top + growthHeight - (math.Log10(took)-p.y0)/(p.y1-p.y0)*growthHeight
}

// planeOf has room for all costs, up to whole powers of ten.
func planeOf(list []*cost, top float64) plane {
	p := plane{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1), top}
	for _, c := range list {
		for _, s := range c.at {
			x, y := math.Log10(float64(s.events)), math.Log10(s.took)
			p.x0, p.x1 = min(p.x0, x), max(p.x1, x)
			p.y0, p.y1 = min(p.y0, math.Floor(y)), max(p.y1, math.Ceil(y))
		}
	}
	if p.x1-p.x0 < 0.1 { // one size alone
		p.x0, p.x1 = p.x0-0.5, p.x1+0.5
	}
	if p.y1 == p.y0 {
		p.y1++
	}
	return p
}

// drawGrowth draws a line for each cost. Each has its name where it ends, so that no
// colour has to be told from another.
func drawGrowth(list []*cost, said string) []byte {
	var b bytes.Buffer
	words := breakLines(said, 112)
	p := planeOf(list, 44+16*float64(len(words)))
	ends := spread(list, p)
	height := max(p.top+growthHeight, slices.Max(ends)) + 44
	title := "What each thing costs as the log grows"
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="pic part" role="img" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f">`+"\n", growthWide, height, growthWide, height)
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n<style>\n%s</style>\n", title, html.EscapeString(said), picture.Stylesheet())
	fmt.Fprintf(&b, `<rect class="paper" x="0" y="0" width="%.0f" height="%.0f"/>`+"\n", growthWide, height)
	letter(&b, "ink big", 10, 26, "start", title)
	for i, line := range words {
		letter(&b, "soft", 10, 44+16*float64(i), "start", line)
	}
	drawPlane(&b, p)
	for i, c := range list {
		drawCost(&b, p, c, i, ends[i])
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// drawPlane draws a line for each power of ten.
func drawPlane(b *bytes.Buffer, p plane) {
	for y := p.y0; y <= p.y1; y++ {
		at := p.y(math.Pow(10, y))
		stroke(b, "grid", growthLeft, at, growthRight, at)
		letter(b, "soft small", growthLeft-6, at+4, "end", powerOf(y))
	}
	for x := math.Ceil(p.x0 - 0.05); x <= math.Floor(p.x1+0.05); x++ {
		at := min(max(p.x(math.Pow(10, x)), growthLeft), growthRight)
		stroke(b, "grid", at, p.top, at, p.top+growthHeight)
		letter(b, "soft small", at, p.top+growthHeight+16, "middle", inThousands(math.Pow(10, x)))
	}
	letter(b, "soft", (growthLeft+growthRight)/2, p.top+growthHeight+34, "middle", "events in the log")
}

// powerOf is a power of ten of seconds in words.
func powerOf(y float64) string {
	if y > 1 {
		return fmt.Sprintf("%.0fs", math.Pow(10, y))
	}
	return showTime(math.Pow(10, y))
}

// Of package picture's style: so many colours and dashes there are.
const linesThere = 6

func drawCost(b *bytes.Buffer, p plane, c *cost, i int, end float64) {
	var path strings.Builder
	for j, s := range c.at {
		fmt.Fprintf(&path, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[j == 0], p.x(float64(s.events)), p.y(s.took))
	}
	kind := i % linesThere
	fmt.Fprintf(b, `<path class="line%d dash%d" d="%s"/>`+"\n", kind, (i/linesThere+kind)%linesThere, path.String())
	for _, s := range c.at {
		fmt.Fprintf(b, `<circle class="dot%d" cx="%.1f" cy="%.1f" r="2.6"/>`+"\n", kind, p.x(float64(s.events)), p.y(s.took))
	}
	last := c.at[len(c.at)-1]
	stroke(b, "axis", p.x(float64(last.events))+4, p.y(last.took), growthRight+22, end-4)
	letter(b, "ink small", growthRight+26, end, "start", fmt.Sprintf("%s, %s", c.name, showTime(last.took)))
}

// spread gives each cost's name a height of its own, as near to the end of its line as
// there is room.
func spread(list []*cost, p plane) []float64 {
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	at := func(i int) float64 { return p.y(list[i].at[len(list[i].at)-1].took) + 4 }
	slices.SortStableFunc(order, func(i, j int) int { return int(math.Copysign(1, at(i)-at(j))) })
	ends := make([]float64, len(list))
	room := p.top + growthHeight - nameHeight*float64(len(list)) // above the names that come
	last := math.Inf(-1)
	for n, i := range order {
		least := max(last+nameHeight, p.top)
		ends[i] = max(least, min(at(i), max(room, p.top)+nameHeight*float64(n+1)))
		last = ends[i]
	}
	return ends
}

func stroke(b *bytes.Buffer, class string, x0, y0, x1, y1 float64) {
	fmt.Fprintf(b, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`+"\n", class, x0, y0, x1, y1)
}

func letter(b *bytes.Buffer, class string, x, y float64, anchor, text string) {
	fmt.Fprintf(b, `<text class="%s" x="%.1f" y="%.1f" text-anchor="%s">`, class, x, y, anchor)
	_ = xml.EscapeText(b, []byte(text)) // into memory, which does not fail
	b.WriteString("</text>\n")
}

// breakLines breaks a text between words.
func breakLines(text string, most int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len(line)+1+len(word) > most {
			lines = append(lines, line)
			line = ""
		}
		line = strings.TrimPrefix(line+" "+word, " ")
	}
	return append(lines, line)
}
