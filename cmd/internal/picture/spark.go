package picture

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	sparkWide = 120.0
	sparkTall = 26.0
)

// Spark draws a line of a few values, with the last one as text. A value that
// is no number is a gap in the line. No values at all are said in words.
func Spark(values []float64, title string) []byte {
	var b pen
	s := sheetOf{class: "pic spark", title: title, desc: sparkDesc(values), width: sparkWide, height: sparkTall}
	lo, hi, any := span(values)
	if !any {
		b.text("soft small", 3, sparkTall-8, "start", "no values")
		return wrapped(s, b.Bytes(), Stylesheet())
	}
	last := lastOf(values)
	said := figure(values[last])
	right := sparkWide - 4 - widthOf(said, letters) - 5
	if lo == hi {
		lo, hi = lo-1, hi+1 // level values lie in the middle
	}
	x, y := scale{0, float64(max(len(values)-1, 1)), 4, max(right, 30)}, upright(lo, hi, 5, sparkTall-5)
	b.path("line0", sparkPath(values, x, y))
	b.shape("circle", "class", "dot0", "cx", x.at(float64(last)), "cy", y.at(values[last]), "r", 2.6)
	b.text("ink", sparkWide-4, sparkTall/2+4, "end", said)
	return wrapped(s, b.Bytes(), Stylesheet())
}

func span(values []float64) (lo, hi float64, any bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if finite(v) {
			lo, hi, any = min(lo, v), max(hi, v), true
		}
	}
	return lo, hi, any
}

func lastOf(values []float64) (last int) {
	for i, v := range values {
		if finite(v) {
			last = i
		}
	}
	return last
}

func sparkPath(values []float64, x, y scale) string {
	var d strings.Builder
	command := "M"
	for i, v := range values {
		if !finite(v) {
			command = "M"
			continue
		}
		d.WriteString(command + num(x.at(float64(i))) + " " + num(y.at(v)))
		command = "L"
	}
	return d.String()
}

// sparkDesc says every value, for whoever can't see the line.
func sparkDesc(values []float64) string {
	if _, _, any := span(values); !any {
		return "no values"
	}
	said := make([]string, len(values))
	for i, v := range values {
		said[i] = "not known"
		if finite(v) {
			said[i] = figure(v)
		}
	}
	if len(said) == 1 {
		return "one value: " + said[0]
	}
	return fmt.Sprintf("%s values, from first to last: %s", strconv.Itoa(len(said)), strings.Join(said, ", "))
}
