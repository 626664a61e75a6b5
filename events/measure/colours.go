package measure

import (
	"errors"
	"fmt"
	"strings"
)

// colourDigits numbers the colours of IEC 60062 (from memory); the tenth and
// hundredth serve as multipliers only.
var colourDigits = map[string]int{
	"black": 0, "brown": 1, "red": 2, "orange": 3, "yellow": 4, "green": 5,
	"blue": 6, "violet": 7, "purple": 7, "grey": 8, "gray": 8, "white": 9,
	"gold": -1, "silver": -2,
}

// colourTolerances is in hundredths of a percent. Source: IEC 60062 (from
// memory).
var colourTolerances = map[string]int32{
	"brown": 100, "red": 200, "green": 50, "blue": 25, "violet": 10, "purple": 10,
	"gold": 500, "silver": 1000, "none": 2000,
}

// Colours reads the colour bands of a resistor, from the end they crowd to:
// three bands (20 %), four, five with a third figure, six with a temperature
// coefficient, which is checked for being a colour and not kept. "none" may
// stand for the missing fourth band.
//
// It refuses the old paint by body, end and dot, whose order is another one:
// with words such as `body red` it says so. Five bands of which the fourth is
// gold or silver are an *Ambiguous: a low value with three figures, or four
// bands and one for reliability.
func Colours(bands []string) (Value, Tolerance, error) {
	text := strings.Join(bands, " ")
	names, err := colourNames(bands)
	if err != nil {
		return Value{Text: text}, Tolerance{}, fmt.Errorf("read colours %q: %w", text, err)
	}
	v, t, err := readBands(text, names)
	if err == nil && len(names) == 5 && colourDigits[names[3]] < 0 {
		ask := &Ambiguous{Text: text, Why: "the fifth band is a tolerance or a reliability", Readings: []Value{v}}
		old, _, err := readBands(text, names[:4])
		ask.add(old, err)
		return Value{Text: text}, Tolerance{}, ask
	}
	if err != nil {
		return Value{Text: text}, Tolerance{}, fmt.Errorf("read colours %q: %w", text, err)
	}
	return v, t, nil
}

var errBodyEndDot = errors.New("body, end and dot paint has an order of its own; read the value off another way")

func colourNames(bands []string) (names []string, err error) {
	for _, band := range bands {
		for word := range strings.FieldsSeq(strings.ToLower(band)) {
			if bodyEndDot(word) {
				return nil, errBodyEndDot
			}
			if _, known := colourDigits[word]; !known && word != "none" {
				return nil, fmt.Errorf("%q is not a colour of the code", word)
			}
			names = append(names, word)
		}
	}
	if len(names) == 4 && names[3] == "none" {
		names = names[:3]
	}
	if len(names) < 3 || len(names) > 6 {
		return nil, fmt.Errorf("%d bands; want three to six", len(names))
	}
	return names, nil
}

func bodyEndDot(word string) bool {
	switch strings.Trim(word, ":,=") {
	case "body", "end", "dot", "tip", "spot":
		return true
	}
	return false
}

// readBands reads three to six known colours.
func readBands(text string, names []string) (Value, Tolerance, error) {
	figures := 2
	if len(names) > 4 {
		figures = 3
	}
	v := Value{Text: text, Unit: Ohm}
	for i, name := range names[:figures] {
		d, ok := colourDigits[name]
		if !ok || d < 0 || i == 0 && d == 0 {
			return v, Tolerance{}, fmt.Errorf("band %d can't be %s; read from the other end?", i+1, name)
		}
		v.Mant = v.Mant*10 + int64(d)
	}
	exp, ok := colourDigits[names[figures]]
	if !ok {
		return v, Tolerance{}, fmt.Errorf("band %d can't be %s", figures+1, names[figures])
	}
	v.Exp = int8(exp)
	name := "none"
	if len(names) > figures+1 {
		name = names[figures+1]
	}
	off, ok := colourTolerances[name]
	if !ok {
		return v, Tolerance{}, fmt.Errorf("band %d: %s is not a tolerance", figures+2, name)
	}
	return v.Normal(), Tolerance{Text: name, Minus: off, Plus: off}, nil
}

// isColour reports whether a word of any case is a colour of the code.
func isColour(word string) bool {
	_, ok := colourDigits[strings.ToLower(word)]
	return ok
}
