package picture

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
)

// pen writes SVG. Every text and every attribute goes through the escaping of
// encoding/xml on its way; nothing else writes text.
type pen struct{ bytes.Buffer }

// num is a place on the picture. One decimal is finer than anything that is
// looked at, and keeps the bytes the same on machines that round differently.
func num(v float64) string {
	v = math.Round(v * 10)
	if v == 0 {
		v = 0 // minus zero would print its sign
	}
	return strconv.FormatFloat(v/10, 'f', 1, 64)
}

func (b *pen) escape(s string) {
	// Writing to a buffer in memory can't fail.
	_ = xml.EscapeText(b, []byte(s))
}

// attrs writes attributes, given as name, value, name, value.
func (b *pen) attrs(pairs ...any) {
	for i := 0; i+1 < len(pairs); i += 2 {
		fmt.Fprintf(b, ` %s="`, pairs[i])
		switch v := pairs[i+1].(type) {
		case float64:
			b.WriteString(num(v))
		default:
			b.escape(fmt.Sprint(v))
		}
		b.WriteByte('"')
	}
}

// element writes an element that holds nothing but text.
func (b *pen) element(name, text string, attrs ...any) {
	b.WriteString("<" + name)
	b.attrs(attrs...)
	b.WriteByte('>')
	b.escape(text)
	b.WriteString("</" + name + ">\n")
}

// shape writes an element that holds nothing.
func (b *pen) shape(name string, attrs ...any) {
	b.WriteString("<" + name)
	b.attrs(attrs...)
	b.WriteString("/>\n")
}

func (b *pen) rect(class string, x, y, w, h float64) {
	b.shape("rect", "class", class, "x", x, "y", y, "width", w, "height", h)
}

func (b *pen) line(class string, x1, y1, x2, y2 float64) {
	b.shape("line", "class", class, "x1", x1, "y1", y1, "x2", x2, "y2", y2)
}

func (b *pen) path(class, d string) { b.shape("path", "class", class, "d", d) }

// text writes one line; anchor is start, middle or end.
func (b *pen) text(class string, x, y float64, anchor, s string) {
	b.element("text", s, "class", class, "x", x, "y", y, "text-anchor", anchor)
}

// fitted writes a line that must not be wider than some room. If it is cut, it
// is whole in its title.
func (b *pen) fitted(class string, x, y float64, anchor, s string, room, size float64, more ...any) {
	short := cut(s, room, size)
	if short == s {
		b.element("text", s, append([]any{"class", class, "x", x, "y", y, "text-anchor", anchor}, more...)...)
		return
	}
	b.WriteString("<text")
	b.attrs("class", class, "x", x, "y", y, "text-anchor", anchor)
	b.attrs(more...)
	b.WriteByte('>')
	b.escape(short)
	b.WriteString("<title>")
	b.escape(s)
	b.WriteString("</title></text>\n")
}

// named writes a name on one line, or on two where one is too short for it: of
// two parts of one kind it is the end that tells which is which. It is written
// around a middle height.
func (b *pen) named(class string, x, mid float64, name string, room, size float64) {
	lines := nameLines(name, room, size)
	if len(lines) < 2 {
		b.fitted(class, x, mid+size/3, "start", name, room, size)
		return
	}
	b.text(class, x, mid-size*0.24, "start", lines[0])
	b.fitted(class, x, mid+size*0.86, "start", lines[1], room, size)
}

// figure is a number with as many digits as a person reads.
func figure(v float64) string {
	switch size := math.Abs(v); {
	case v == math.Trunc(v) || size >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case size >= 1:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case size >= 0.1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case size < 0.0005:
		return strconv.FormatFloat(v, 'g', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 3, 64)
}
