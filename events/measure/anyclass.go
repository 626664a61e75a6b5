package measure

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// AsClass is a marking read as one class of parts. Ask has the readings where the
// marking means two things there.
type AsClass struct {
	Class, Name string
	Part        Part
	Ask         *Ambiguous
}

// anyClasses are those whose values are told by their units and codes. A battery
// or a zener diode would take any text with volts in it.
var anyClasses = []struct{ letter, name string }{
	{"C", "capacitor"}, {"R", "resistor"}, {"L", "coil"}, {"F", "fuse"}, {"Y", "crystal"},
}

// PartName is the word for a class of parts, "" for one that has none here.
func PartName(class string) string {
	for _, c := range anyClasses {
		if c.letter == class {
			return c.name
		}
	}
	return ""
}

// ParseAnyClass reads a marking of which nobody says what part it is on, as each
// class that gives it a value; where a unit or code of some class stands in it, as
// those classes only. More than one is a question for a person: 104K is 0.1 uF on
// a capacitor and 104 kilohm on a resistor. It refuses a marking that no class
// gives a value, with the reason of the class that came nearest.
func ParseAnyClass(text string) (all []AsClass, err error) {
	var first error
	var named []AsClass
	for _, c := range anyClasses {
		p, err := ParsePart(text, c.letter)
		ask := (*Ambiguous)(nil)
		switch {
		case errors.As(err, &ask), err == nil && len(p.Sections) > 0:
			as := AsClass{c.letter, c.name, p, ask}
			all = append(all, as)
			if as.named() {
				named = append(named, as)
			}
		case first == nil || c.letter == "R" && startsWithColour(text):
			first = err
		}
	}
	switch {
	case len(named) > 0:
		return named, nil
	case len(all) > 0:
		return all, nil
	}
	if first == nil {
		first = errors.New("there is no value in it")
	}
	return nil, fmt.Errorf("read %q as any part: %w", text, first)
}

// named reports whether the value's own text says more than a number.
func (a AsClass) named() bool {
	text := ""
	switch n := len(a.Part.Sections); {
	case n > 0:
		text = a.Part.Sections[n-1].Text
	case a.Ask != nil:
		text = a.Ask.Text
	}
	return strings.ContainsFunc(text, func(r rune) bool { return unicode.IsLetter(r) || r == '\u2126' })
}

// toleranceSeries pairs tolerances, in hundredths of a percent, with the series
// of IEC 60063 that is made for them (from memory).
var toleranceSeries = map[int32]string{2000: "E6", 1000: "E12", 500: "E24", 200: "E48", 100: "E96"}

// SeriesFor gives the series of preferred values that a tolerance belongs to,
// "" where it belongs to none.
func SeriesFor(t Tolerance) string {
	if t.Minus != t.Plus || t.Abs.Unit != "" {
		return ""
	}
	return toleranceSeries[t.Plus]
}
