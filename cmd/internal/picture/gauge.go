package picture

import "fmt"

// Gauge is one point's readings on a scale of its own, from 0 at its left end to 1
// at its right. What is not known is NaN.
type Gauge struct {
	Found, Left float64
	From, To    float64 // the limits
	Zero        bool    // the scale begins at zero
}

const (
	gaugeWide = 120.0
	gaugeTall = 22.0
)

// DrawGauge draws a gauge, small enough for a table's cell: the limits as a band, as
// found as a ring, as left as a dot. Desc says the same in words.
func DrawGauge(g Gauge, title, desc string) []byte {
	var b pen
	at := scale{0, 1, 8, gaugeWide - 6}
	mid := gaugeTall / 2
	if finite(g.From) && finite(g.To) {
		from, to := at.at(g.From), at.at(g.To)
		b.rect("cell1", from, mid-6, max(to-from, 1), 12)
		for i, x := range []float64{from, to} {
			if end := []float64{g.From, g.To}[i]; end > 0 && end < 1 {
				b.line("axis", x, mid-6, x, mid+6)
			}
		}
	}
	b.line("grid", at.at(0), mid, at.at(1), mid)
	if g.Zero {
		b.line("axis", at.at(0), mid-4, at.at(0), mid+4)
		b.text("soft small", 0, mid+4, "start", "0")
	}
	if finite(g.Found) && finite(g.Left) {
		b.line("whisker", at.at(g.Found), mid, at.at(g.Left), mid)
	}
	if finite(g.Found) {
		b.shape("circle", "class", "paper", "cx", at.at(g.Found), "cy", mid, "r", 3.6)
		b.shape("circle", "class", "whisker", "cx", at.at(g.Found), "cy", mid, "r", 3.6)
	}
	if finite(g.Left) {
		b.shape("circle", "class", "ink", "cx", at.at(g.Left), "cy", mid, "r", 4.0)
	}
	return wrapped(sheetOf{class: "pic spark", title: title, desc: desc, width: gaugeWide, height: gaugeTall}, b.Bytes(), Stylesheet())
}

// GaugeDesc says a reading and its limits in words.
func GaugeDesc(found, left, limits string) string {
	s := ""
	for _, part := range []struct{ name, text string }{{"as found", found}, {"as left", left}, {"limits", limits}} {
		if part.text != "" {
			if s != "" {
				s += ", "
			}
			s += fmt.Sprintf("%s %s", part.name, part.text)
		}
	}
	return s
}
