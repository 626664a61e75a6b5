package paper

import (
	"strings"
	"sync"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomonobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Face is a cut of the letters.
type Face int

// The cuts. Mono is bold and of one width: tags and serials.
const (
	Regular Face = iota
	Bold
	Italic
	Mono
	faces
)

// cut is a font as it is measured and drawn.
type cut struct {
	ttf  []byte
	font *sfnt.Font
	wide map[rune]float64 // in ems; what is not in it the font lacks
}

// bmp is the plane that the fonts' letters lie in.
const bmp = 0x10000

// cuts are read once: what is built in can be read, or the program is broken.
var cuts = sync.OnceValue(func() (list [faces]cut) {
	for i, ttf := range [faces][]byte{Regular: goregular.TTF, Bold: gobold.TTF, Italic: goitalic.TTF, Mono: gomonobold.TTF} {
		f, err := sfnt.Parse(ttf)
		if err != nil {
			panic(err) // the font is built in; a test reads all
		}
		list[i] = cut{ttf, f, widths(f)}
	}
	return list
})

func widths(f *sfnt.Font) map[rune]float64 {
	wide := map[rune]float64{}
	var b sfnt.Buffer
	em := fixed.I(int(f.UnitsPerEm()))
	for r := rune(' '); r < bmp; r++ {
		g, err := f.GlyphIndex(&b, r)
		if err != nil || g == 0 {
			continue
		}
		if w, err := f.GlyphAdvance(&b, g, em, 0); err == nil {
			wide[r] = float64(w) / float64(em)
		}
	}
	return wide
}

// has reports whether all cuts have a letter: which cut a text comes to stand in
// must not decide whether it can be read.
func has(r rune) bool {
	for _, c := range cuts() {
		if _, ok := c.wide[r]; !ok {
			return false
		}
	}
	return true
}

// Width is how wide a text is in a size of letters, in millimetres; size is in
// points.
func Width(text string, f Face, size float64) float64 {
	wide, ems := cuts()[f].wide, 0.0
	for _, r := range text {
		ems += wide[r]
	}
	return ems * size * Point
}

// LineHeight is the distance between two lines in a size of letters, in
// millimetres.
func LineHeight(size float64) float64 { return size * Point * 1.28 }

// Wrap breaks a text into lines of at most a width in millimetres, at spaces, and
// inside a word only where it is longer than a line. A line end in the text stays
// one.
func Wrap(text string, f Face, size, width float64) (lines []string) {
	space := Width(" ", f, size)
	for _, para := range strings.Split(text, "\n") {
		var line []string
		long := 0.0 // of the line
		for _, word := range strings.Fields(para) {
			wide := Width(word, f, size)
			if len(line) > 0 && long+space+wide <= width {
				line, long = append(line, word), long+space+wide
				continue
			}
			if len(line) > 0 {
				lines = append(lines, strings.Join(line, " "))
			}
			for wide > width {
				head := headOf(word, f, size, width)
				if len(head) == len(word) {
					break // a single letter
				}
				lines, word = append(lines, head), word[len(head):]
				wide = Width(word, f, size)
			}
			line, long = []string{word}, wide
		}
		lines = append(lines, strings.Join(line, " "))
	}
	return lines
}

// headOf is as much of a word as goes into a line, and a letter at least.
func headOf(word string, f Face, size, width float64) string {
	end := 0
	for i, r := range word {
		if next := i + len(string(r)); end == 0 || Width(word[:next], f, size) <= width {
			end = next
		} else {
			break
		}
	}
	return word[:end]
}

// Fit shortens a text to a width, with an ellipsis where something was cut.
func Fit(text string, f Face, size, width float64) string {
	if Width(text, f, size) <= width {
		return text
	}
	runes := []rune(text)
	for n := len(runes) - 1; n > 0; n-- {
		if short := strings.TrimRight(string(runes[:n]), " ") + "…"; Width(short, f, size) <= width {
			return short
		}
	}
	return "…"
}
