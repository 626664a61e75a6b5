package measure

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Parse reads one value of the wanted quantity as somebody typed it or as it is
// printed on a part: `47 MMF`, `.047 MFD`, `4K7`, `2u2`, `1 MEG`, `-12.6 V`,
// `1 7/8 ips`, `ok`. The value's Text is text unchanged.
//
// The unit must be there, with two exceptions: a number is a number, and a bare
// number is ohms where a resistance is wanted. A bare capacitor number, and
// whatever else is known to mean two things, comes back as an *Ambiguous.
// Any other error says what could not be read. In both cases the value returned
// has only its Text.
//
// A tolerance letter in a marking (4K7J, 104K) is understood and left out of
// the value; ParsePart gives it.
func Parse(text string, want Quantity) (Value, error) {
	v, _, err := read(text, want, scale{})
	return v, err
}

// marking is a text on its way to a value: the number, the scales it may have,
// and what else was noticed.
type marking struct {
	number
	scale     scale
	other     scale // a second reading of the unit; no unit means none
	doubt     string
	tolerance byte
}

var errLong = errors.New("longer than a value can be")

// maxText bounds the text of one value; the longest sound one has 18 digits
// and a spelled-out unit.
const maxText = 80

// read is Parse with the scale of a number that has no unit and with the
// tolerance letter.
func read(text string, want Quantity, bare scale) (Value, byte, error) {
	t := strings.TrimSpace(text)
	if want == YesNo {
		v, err := readYesNo(text, t)
		return v, 0, err
	}
	var m marking
	err := errLong
	if len(t) <= maxText {
		err = m.readMarking(t, want, bare)
	}
	if err == nil {
		v, err := m.settle(text)
		return v, m.tolerance, err
	}
	if ask := (*Ambiguous)(nil); errors.As(err, &ask) && len(ask.Readings) == 0 {
		err = errExponent
	} else if ask != nil {
		ask.Text = text
		for i := range ask.Readings {
			ask.Readings[i].Text = text
		}
		return Value{Text: text}, m.tolerance, ask
	}
	return Value{Text: text}, 0, fmt.Errorf("read %q as %s: %w", text, want, err)
}

// readMarking splits a trimmed text into number, unit and tolerance.
func (m *marking) readMarking(t string, want Quantity, bare scale) error {
	if rest, ok := m.letterCode(t, want); ok {
		return m.afterCode(rest, want)
	}
	n, rest, err := scanNumber(t)
	if err != nil {
		return err
	}
	m.number = n
	if rest, ok := m.letterCode(rest, want); ok && n.plain > 0 {
		return m.afterCode(rest, want)
	}
	m.number, m.scale = n, scale{}
	unit := strings.TrimSpace(rest)
	switch {
	case unit == "":
		return m.bareNumber(want, bare)
	case want == Capacitance && len(unit) == 1 && isCapacitorTolerance(unit[0]) && (unit != "F" || unit == rest):
		return m.capacitorCode(unit[0], unit != rest)
	case m.unit(unit, want):
		return nil
	}
	return m.unitAndTolerance(unit, rest, want)
}

// codeLetter gives the power of ten of a letter that stands for the decimal
// mark. Source: IEC 60062; V for zener voltages is common practice, no source.
func codeLetter(want Quantity, r rune) (s scale, ok bool) {
	switch want {
	case Resistance:
		switch r {
		case 'R', 'r':
			return scale{Ohm, 0}, true
		case 'K', 'k':
			return scale{Ohm, 3}, true
		case 'M':
			return scale{Ohm, 6}, true
		}
	case Capacitance, Inductance:
		unit := Farad
		if want == Inductance {
			unit = Henry
		}
		switch r {
		case 'p', 'P':
			return scale{unit, -12}, unit == Farad
		case 'n', 'N':
			return scale{unit, -9}, true
		case 'u', 'U', 'µ', 'μ':
			return scale{unit, -6}, true
		case 'm':
			return scale{unit, -3}, true
		}
	case Voltage:
		return scale{Volt, 0}, r == 'V' || r == 'v'
	}
	return scale{}, false
}

// letterCode reads the letter and the digits behind it, of 4K7 when the 4 was
// read and of R47 or u1 when nothing was.
func (m *marking) letterCode(t string, want Quantity) (rest string, ok bool) {
	r, width := utf8.DecodeRuneInString(t)
	s, ok := codeLetter(want, r)
	if !ok || len(t) == width || !isDigit(t[width]) {
		return t, false
	}
	n := m.number
	end := width
	for ; end < len(t) && isDigit(t[end]); end++ {
		if n.push(t[end]) != nil {
			return t, false
		}
	}
	n.exp, n.plain = width-end, 0
	m.number, m.scale = n, s
	return t[end:], true
}

// afterCode reads what stands behind 4K7 or 2u2: nothing, a tolerance letter or
// the unit's name.
func (m *marking) afterCode(rest string, want Quantity) error {
	unit := strings.TrimSpace(rest)
	if unit == "" {
		return nil
	}
	if unit == rest && len(unit) == 1 && toleranceLetter(unit[0]) {
		m.tolerance = unit[0]
		if unit == "F" && want == Capacitance {
			m.tolerance, m.doubt = 0, "F behind a capacitor code is farad or 1 %; no tolerance was taken from it"
		}
		return nil
	}
	var buf [24]byte
	folded, ok := foldUnit(unit, &buf)
	if s, known := spellings[want][string(folded)]; ok && known && s.exp == 0 && s.unit == m.scale.unit {
		return nil
	}
	return fmt.Errorf("%q behind the letter code is neither a unit nor a tolerance", unit)
}

// bareNumber settles a number without any unit.
func (m *marking) bareNumber(want Quantity, bare scale) error {
	switch {
	case bare.unit != "":
		m.scale = bare
	case want == Number:
		m.scale = scale{One, 0}
	case want == Resistance:
		m.scale = scale{Ohm, 0}
		if m.plain == 3 && m.mant%10 != 0 && m.mant >= 100 {
			m.doubt = "three digits on a trimmer are two figures and a number of zeros; read as ohms"
		}
	case want == Capacitance:
		return m.bareCapacitor()
	default:
		return errors.New("the unit is missing")
	}
	return nil
}

// unit looks the unit up and notes the traps of m and M.
func (m *marking) unit(raw string, want Quantity) bool {
	var buf [24]byte
	folded, ok := foldUnit(raw, &buf)
	if !ok {
		return false
	}
	s, ok := spellings[want][string(folded)]
	if !ok {
		return false
	}
	m.scale = s
	switch string(folded) {
	case "m", "mohm", "mohms", "mr":
		m.megOrMilli(raw)
	case "mf":
		if raw[0] == 'm' && raw[len(raw)-1] == 'F' {
			m.doubt = "mF is read as microfarad, as on old parts; on a new part it would be a thousand times more"
		}
	}
	return true
}

// megOrMilli settles m and M in front of ohms. Written with the sign Ω, or mOhm
// as UCUM has it, it is a proper unit. M is megohm in most texts and a thousand on some old US diagrams.
func (m *marking) megOrMilli(raw string) {
	proper := strings.ContainsAny(raw, "Ω\u2126") || raw == "mOhm"
	switch {
	case raw[0] == 'M' && !proper:
		m.doubt = "M is read as megohm; on some old diagrams it is a thousand"
	case raw[0] == 'm' && proper:
		m.scale.exp = -3
	case raw[0] == 'm':
		m.other = scale{Ohm, -3}
	}
}

// unitAndTolerance reads a unit with a tolerance letter attached: 47nK, 470RJ.
func (m *marking) unitAndTolerance(unit, rest string, want Quantity) error {
	last := len(unit) - 1
	if last > 0 && unit == rest && (want == Resistance || want == Capacitance || want == Inductance) &&
		toleranceLetter(unit[last]) && m.unit(unit[:last], want) {
		m.tolerance = unit[last]
		return nil
	}
	return fmt.Errorf("%q is not a unit of %s", unit, want)
}

// settle puts number and scale together, or lists the readings if there are
// several.
func (m *marking) settle(text string) (Value, error) {
	v, err := m.value(text, m.exp, m.scale)
	if err != nil || !m.comma && m.other.unit == "" {
		return v, err
	}
	ask := &Ambiguous{Text: text, Readings: []Value{v}}
	if m.other.unit != "" {
		ask.Why = "m before ohms is mega or milli"
		ask.add(m.value(text, m.exp, m.other))
	}
	if m.comma {
		ask.Why = "the comma is a thousands mark or a decimal comma"
		ask.add(m.value(text, m.commaExp, m.scale))
	}
	if m.comma && m.other.unit != "" {
		ask.Why = "the comma is a thousands mark or a decimal comma, and m is mega or milli"
		ask.add(m.value(text, m.commaExp, m.other))
	}
	return Value{Text: text}, ask
}

// A value's first digit lies within these powers of ten of the base unit. They
// leave room for every part and reading there is, and keep a canonical form
// short enough to be read back.
const (
	smallest = -30
	largest  = maxDigits - 1
)

func (m *marking) value(text string, exp int, s scale) (Value, error) {
	exp += int(s.exp)
	if m.mant != 0 && (exp < -100 || exp > 100) {
		return Value{Text: text}, fmt.Errorf("read %q: %w", text, errExponent)
	}
	v := Value{Text: text, Mant: m.mant, Unit: s.unit, Doubt: m.doubt}
	if m.mant == 0 {
		return v, nil
	}
	v.Exp = int8(exp)
	v = v.Normal()
	if v.beyond() {
		return Value{Text: text}, fmt.Errorf("read %q: %w", text, errExponent)
	}
	return v, nil
}

// beyond reports whether a value is too large or too small to be read as typed.
func (v Value) beyond() bool {
	size := v.magnitude()
	return v.Mant != 0 && (size > largest || size < smallest)
}

// readYesNo reads a yes or no as benches write it.
func readYesNo(text, trimmed string) (Value, error) {
	v := Value{Text: text, Unit: YesOrNo}
	switch strings.ToLower(trimmed) {
	case "yes", "y", "ok", "okay", "pass", "passed", "good":
		v.Mant = 1
	case "no", "n", "fail", "failed", "bad", "not ok":
	default:
		return Value{Text: text}, fmt.Errorf("read %q as %s: want yes, ok or pass, or no or fail", text, YesNo)
	}
	return v, nil
}
