package measure

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Part is what a part's marking says. Its Text is complete; everything else is
// what was read from it.
type Part struct {
	Text  string
	Class string // the letters given, such as "C"
	// Sections has one value, or one for each section of a can: 50-30-30 MFD.
	// A section's Text is its own piece of the marking. Empty for a part that
	// has no value, or of which only a description was typed.
	Sections []Value
	// Volts has the rated voltage, or one for each section.
	Volts     []Value
	Watts     Value // rated power; no unit if none was read
	Tolerance Tolerance
	// Doubts are sentences about known traps and pieces not understood.
	Doubts []string
}

// classQuantities gives the quantity a class of parts is valued in. The letters
// are those of IEEE 315 and ASME Y14.44; period diagrams differ, so others are
// accepted and have no value.
var classQuantities = map[string]Quantity{
	"C": Capacitance, "R": Resistance, "RT": Resistance, "L": Inductance,
	"F": Current, "Y": Frequency, "FL": Frequency, "BT": Voltage, "VR": Voltage,
}

// ParsePart reads a part's marking or what was typed of it: `.1 MFD 400V`,
// `10uF/25V`, `50-30-30 MFD`, `4K7J`, `104K`, `470K 1/2W 10%`, `yellow violet red
// gold`. class is the letters of the reference designator.
//
// Words are taken as description. A text without any digit is a description and
// no error, and so is any text on a class that has no value. A known trap or a
// piece with digits that means nothing here becomes a doubt. An *Ambiguous
// lists the readings of the value that needs a person; any other error says
// that no value could be read. In both cases the Part has all that was read
// besides.
func ParsePart(text, class string) (Part, error) {
	p := Part{Text: text, Class: class}
	want, valued := classQuantities[strings.ToUpper(strings.TrimSpace(class))]
	if !valued {
		return p, nil
	}
	if len(text) > maxPart {
		return p, fmt.Errorf("read part %.40q... of class %s: longer than %d bytes", text, class, maxPart)
	}
	if want == Resistance && startsWithColour(text) {
		return p.colours()
	}
	if !hasDigit(text) {
		return p, nil
	}
	r := partReader{part: &p, want: want, left: pieces(text)}
	r.readAll()
	if ask := (*Ambiguous)(nil); errors.As(r.err, &ask) {
		return p, ask
	}
	if r.err != nil {
		return p, fmt.Errorf("read part %q of class %s: %w", text, class, r.err)
	}
	return p, nil
}

// maxPart bounds a marking; a can with four sections and a remark fits well.
const maxPart = 300

// colours reads a marking given as colour bands.
func (p Part) colours() (Part, error) {
	bands := strings.FieldsFunc(p.Text, func(r rune) bool {
		return r == ' ' || r == '-' || r == ',' || r == '/' || r == '\t'
	})
	v, t, err := Colours(bands)
	if err != nil {
		return p, err
	}
	v.Text = p.Text
	p.Sections, p.Tolerance = []Value{v}, t
	return p, nil
}

// startsWithColour reports whether the first or, for body paint, the second
// word is a colour.
func startsWithColour(text string) bool {
	words := strings.FieldsFunc(text, func(r rune) bool { return r < utf8.RuneSelf && !isLetter(byte(r)) })
	if len(words) == 0 {
		return false
	}
	return isColour(words[0]) || len(words) > 1 && bodyEndDot(strings.ToLower(words[0])) && isColour(words[1])
}

func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }
