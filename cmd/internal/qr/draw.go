package qr

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"strings"
)

// Ground is what a text is drawn for.
type Ground int

// The grounds. They are told apart in the package comment.
const (
	OnColours Ground = iota
	OnDark
	OnLight
)

// blackOnWhite and asBefore are SGR sequences (ECMA-48, section 8.3.117, with
// the 256 colours of ITU-T T.416): full black on full white, since the terminal
// may show its own colours 0 and 7 as it likes.
const (
	blackOnWhite = "\x1b[38;5;16;48;5;231m"
	asBefore     = "\x1b[0m"
)

// Text draws the code in block characters. It is Size columns wide and half as
// many lines high, rounded up.
func (c Code) Text(on Ground) string {
	var b strings.Builder
	for y := 0; y < c.Size(); y += 2 {
		if on == OnColours {
			b.WriteString(blackOnWhite)
		}
		for x := range c.Size() {
			upper, lower := c.at(x, y), c.at(x, y+1)
			if on == OnDark { // a block is light there; below the last row is nothing
				upper, lower = !upper, !lower && y+1 < c.Size()
			}
			b.WriteString(block(upper, lower))
		}
		if on == OnColours {
			b.WriteString(asBefore)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func block(upper, lower bool) string {
	switch {
	case upper && lower:
		return "█"
	case upper:
		return "▀"
	case lower:
		return "▄"
	}
	return " "
}

// picture draws the code with so many pixels a module.
func (c Code) picture(scale int) *image.Gray {
	m := image.NewGray(image.Rect(0, 0, c.Size()*scale, c.Size()*scale))
	for y := range c.Size() * scale {
		for x := range c.Size() * scale {
			if !c.at(x/scale, y/scale) {
				m.SetGray(x, y, color.Gray{Y: 255})
			}
		}
	}
	return m
}

// pngScale makes a code of 45 modules 360 pixels wide: it can be sent, printed
// and read off another screen.
const pngScale = 8

// PNG draws the code as a picture of pixels.
func (c Code) PNG() ([]byte, error) {
	var b bytes.Buffer
	err := png.Encode(&b, c.picture(pngScale))
	return b.Bytes(), err
}

// SVG draws the code as a picture of lines, which prints sharply at any size. It
// has its white ground with it.
func (c Code) SVG() []byte {
	var b bytes.Buffer
	n := c.Size()
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" shape-rendering="crispEdges">`+"\n", n, n, n*pngScale, n*pngScale)
	fmt.Fprintf(&b, `<path fill="#fff" d="M0 0h%dv%dH0z"/>`+"\n"+`<path fill="#000" d="`, n, n)
	for y := range n {
		for x := 0; x < n; x++ {
			from := x
			for c.at(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&b, "M%d %dh%dv1H%dz", from, y, x-from, from)
			}
		}
	}
	b.WriteString(`"/>` + "\n</svg>\n")
	return b.Bytes()
}
