package measure

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// partReader walks along the pieces of a marking.
type partReader struct {
	part *Part
	want Quantity
	left []piece
	err  error // what keeps the value from being read
	// unread is why the first number that could have been the value was not; it
	// counts only if no value comes after it.
	unread error
}

func (r *partReader) readAll() {
	for len(r.left) > 0 && r.err == nil {
		if r.left[0].number {
			r.readGroup()
		} else {
			r.readWord()
		}
	}
	if r.err == nil && len(r.part.Sections) == 0 {
		r.err = cmp.Or(r.unread, errors.New("no value found"))
	}
}

// readWord reads a code that starts with a letter (R47, u1), a tolerance letter
// standing alone, or a word of description.
func (r *partReader) readWord() {
	p := r.left[0]
	r.left = r.left[1:]
	switch {
	case len(r.part.Sections) == 0 && hasDigit(p.text):
		if v, letter, err := read(p.text, r.want, scale{}); err == nil {
			r.addSection(v, letter)
			return
		}
		r.doubtPiece(p.text)
	case len(r.part.Sections) > 0 && len(p.text) == 1 && isCapacitorTolerance(p.text[0]) && !r.part.Tolerance.Given():
		r.part.Tolerance = letterTolerance(p.text[0], r.part.Sections[0])
	case hasDigit(p.text):
		r.doubtPiece(p.text)
	}
}

// readGroup reads numbers joined by -, / or + that share the unit behind the
// last: the sections of a can, a pair of voltages, the two sides of a tolerance,
// the halves of 1/2 W.
func (r *partReader) readGroup() {
	size := 1
	for size < len(r.left) && r.left[size-1].bare && r.left[size].number && r.left[size].joint != ' ' {
		size++
	}
	group := slices.Clone(r.left[:size])
	r.left = r.left[size:]
	unit, named := r.unitBehind(&group[size-1])
	switch {
	case unit == Ratio:
		r.addTolerance(group)
	case unit == Power && r.want != Power:
		r.addWatts(group)
	case unit == Voltage && r.want != Voltage:
		r.addVolts(group)
	case len(r.part.Sections) > 0 && !named:
		r.doubtPiece(joined(group).text)
	case size > 1 && isFraction(group):
		r.addValues([]piece{joined(group)})
	default:
		r.addValues(group)
	}
}

// unitBehind finds the unit of a number: attached to it, or in the next one or
// two words, which are then taken in. It gives the quantity the unit belongs to,
// or the wanted one and false where no unit is named.
func (r *partReader) unitBehind(last *piece) (q Quantity, named bool) {
	_, attached, _ := strings.Cut(last.text, numberRun(last.text))
	asked := [...]Quantity{r.want, Voltage, Power, Ratio}
	for _, q := range asked {
		if attached == "" && r.takeWords(last, "", q, 2) || r.takeWords(last, attached, q, 1) {
			return q, true
		}
	}
	for _, q := range asked {
		if attached != "" && knownUnit(attached, q) {
			return q, true
		}
	}
	r.takeLetter(last, attached)
	return r.want, false
}

// takeLetter takes in a letter alone behind a bare number on a capacitor: it is
// part of the question what the number means.
func (r *partReader) takeLetter(last *piece, attached string) {
	if r.want != Capacitance || attached != "" || len(r.part.Sections) > 0 || len(r.left) == 0 {
		return
	}
	if letter := r.left[0].text; len(letter) == 1 && isCapacitorTolerance(letter[0]) {
		last.text += " " + letter
		last.bare = false
		r.left = r.left[1:]
	}
}

// takeWords takes count words into the number before them if together with what
// is attached already they name a unit: 2.2 M ohm, 8 MFD, 2.2M ohm.
func (r *partReader) takeWords(last *piece, attached string, q Quantity, count int) bool {
	if len(r.left) < count {
		return false
	}
	unit := attached
	for _, word := range r.left[:count] {
		if word.number || word.joint != ' ' {
			return false
		}
		unit += word.text
	}
	if !knownUnit(unit, q) {
		return false
	}
	for _, word := range r.left[:count] {
		last.text += " " + word.text
	}
	last.bare = false
	r.left = r.left[count:]
	return true
}

func knownUnit(raw string, q Quantity) bool {
	var buf [24]byte
	folded, ok := foldUnit(raw, &buf)
	if !ok {
		return false
	}
	_, known := spellings[q][string(folded)]
	return known
}

// addValues reads a group as the part's own values, one for a section.
func (r *partReader) addValues(group []piece) {
	last := group[len(group)-1]
	v, letter, err := read(last.text, r.want, scale{})
	if err != nil {
		r.valueError(last, err)
		return
	}
	shared := sharedScale(last.text, v)
	for _, p := range group[:len(group)-1] {
		section, _, err := read(p.text, r.want, shared)
		if err != nil {
			r.valueError(p, err)
			return
		}
		r.addSection(section, 0)
	}
	r.addSection(v, letter)
}

// valueError stops at a question. Any other piece that can't be read becomes a
// doubt, since the value may stand behind it: 3AG 2A.
func (r *partReader) valueError(p piece, err error) {
	if ask := (*Ambiguous)(nil); errors.As(err, &ask) && len(r.part.Sections) == 0 {
		r.err = err
		return
	}
	r.unread = cmp.Or(r.unread, err)
	r.doubtPiece(p.text)
}

// sharedScale gives the scale of a text that was read to v, for the numbers
// before it that share its unit.
func sharedScale(text string, v Value) scale {
	n, _, err := scanNumber(text)
	if err != nil || n.mant == 0 {
		return scale{v.Unit, 0}
	}
	plain := Value{Mant: n.mant, Exp: int8(n.exp)}.Normal()
	return scale{v.Unit, v.Exp - plain.Exp}
}

func (r *partReader) addSection(v Value, letter byte) {
	r.part.Sections = append(r.part.Sections, v)
	if letter != 0 && !r.part.Tolerance.Given() {
		r.part.Tolerance = letterTolerance(letter, v)
	}
	if v.Doubt != "" {
		r.doubt(v.Doubt)
	}
	if r.want == Capacitance && pairOfSections(v.Text) {
		r.doubt(fmt.Sprintf("the comma in %q is read as a decimal comma; two sections are written with a dash", v.Text))
	}
}

// pairOfSections reports a comma that could also part two sections: 20,20.
func pairOfSections(text string) bool {
	whole, frac, comma := strings.Cut(numberRun(text), ",")
	return comma && len(whole) == len(frac) && strings.Trim(whole, "0") != ""
}

// addVolts reads a group that ends in volts. Before any value stands, the
// numbers in front are the value and lack their unit: 10/25V.
func (r *partReader) addVolts(group []piece) {
	last := group[len(group)-1]
	if len(r.part.Sections) == 0 && len(group) > 1 {
		r.addValues(group[:len(group)-1])
		group = group[len(group)-1:]
	}
	v, _, err := read(last.text, Voltage, scale{})
	if err != nil {
		r.doubtPiece(last.text)
		return
	}
	shared := sharedScale(last.text, v)
	for _, p := range group[:len(group)-1] {
		if each, _, err := read(p.text, Voltage, shared); err == nil {
			r.part.Volts = append(r.part.Volts, each)
		}
	}
	r.part.Volts = append(r.part.Volts, v)
}

func (r *partReader) addWatts(group []piece) {
	rated := group[len(group)-1:]
	if len(group) > 1 && isFraction(group[len(group)-2:]) {
		rated = group[len(group)-2:]
	}
	if before := group[:len(group)-len(rated)]; len(before) > 0 {
		r.addValues(before)
	}
	p := joined(rated)
	v, _, err := read(p.text, Power, scale{})
	if err != nil {
		r.doubtPiece(p.text)
		return
	}
	r.part.Watts = v
}

// addTolerance reads 10%, ±10 % and +80 -20 %.
func (r *partReader) addTolerance(group []piece) {
	if len(group) > 2 {
		r.addValues(group[:len(group)-1])
		group = group[len(group)-1:]
	}
	t := Tolerance{Text: toleranceText(group)}
	for i, p := range group {
		n, _, err := scanNumber(p.text)
		off := Value{Mant: n.mant, Exp: int8(n.exp) + 2}
		if err != nil || n.comma || off.magnitude() > 6 {
			r.doubtPiece(p.text)
			return
		}
		hundredths := int32(off.Float() + 0.5)
		switch {
		case len(group) == 1:
			t.Minus, t.Plus = hundredths, hundredths
		case p.joint == '-' || i == 1 && group[0].joint == '+':
			t.Minus = hundredths
		default:
			t.Plus = hundredths
		}
	}
	r.part.Tolerance = t
}

// isFraction reports 1/2 and the like, where the stroke divides.
func isFraction(group []piece) bool {
	if len(group) != 2 || group[1].joint != '/' {
		return false
	}
	n, rest, err := scanNumber(joined(group).text)
	return err == nil && n.plain == 0 && !strings.HasPrefix(rest, "/")
}

// joined writes a group as one piece again.
func joined(group []piece) piece {
	p := group[0]
	for _, next := range group[1:] {
		sign := string(next.joint)
		if next.joint == plusMinus {
			sign = "±"
		}
		p.text += sign + next.text
	}
	return p
}

// toleranceText writes a tolerance with the sign in front of it, which on a
// single one is often only a dash behind the value: 470K-10%.
func toleranceText(group []piece) string {
	text := joined(group).text
	switch sign := group[0].joint; {
	case sign == plusMinus:
		return "±" + text
	case len(group) > 1 && sign != ' ':
		return string(sign) + text
	}
	return text
}

func (r *partReader) doubtPiece(text string) {
	r.doubt(fmt.Sprintf("%q is not understood here", text))
}

func (r *partReader) doubt(why string) {
	if !slices.Contains(r.part.Doubts, why) {
		r.part.Doubts = append(r.part.Doubts, why)
	}
}
