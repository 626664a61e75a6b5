package measure

import "fmt"

// isCapacitorTolerance reports whether a letter is a tolerance on a capacitor.
// Source: IEC 60062 (from memory).
func isCapacitorTolerance(c byte) bool { return toleranceLetter(c) || c == 'Z' }

// capacitorCode reads what stands on a capacitor as digits and one letter. The
// letter is a tolerance in the marking of the part, and K, M and F are also a
// thousand, micro and farad in people's writing, so only three digits with the
// letter right behind them are a code for sure: 104K is 10 x 10^4 pF, 10 %.
func (m *marking) capacitorCode(letter byte, spaced bool) error {
	doubled := letter == 'K' || letter == 'M' || letter == 'F'
	if m.plain == 3 && m.mant >= 100 && !spaced && letter != 'F' {
		m.threeDigits()
		m.tolerance = letter
		return nil
	}
	if !doubled && !(m.plain == 3 && m.mant >= 100) && !m.comma {
		m.tolerance = letter
		m.scale = m.printedScale()
		m.doubt = fmt.Sprintf("no unit is printed; read as %s, as on parts marked like this", stepsName(m.scale))
		return nil
	}
	m.tolerance = letter
	ask := &Ambiguous{Why: fmt.Sprintf("%c is a tolerance or part of the value", letter)}
	if m.plain == 3 && m.mant >= 100 {
		code := *m
		code.threeDigits()
		ask.add(code.value("", code.exp, code.scale))
	}
	if m.plain != 3 || !doubled {
		ask.add(m.value("", m.exp, m.printedScale()))
	}
	if m.comma {
		ask.add(m.value("", m.commaExp, scale{Farad, -12}))
	}
	switch letter {
	case 'K':
		ask.add(m.value("", m.exp, scale{Farad, -9})) // a thousand pF
	case 'M':
		ask.add(m.value("", m.exp, scale{Farad, -6}))
	case 'F':
		ask.add(m.value("", m.exp, scale{Farad, 0}))
	}
	return ask
}

// threeDigits reads two figures and a number of zeros, in pF. 8 and 9 in the
// last place are a hundredth and a tenth (from memory, not in IEC 60062's text
// as read).
func (m *marking) threeDigits() {
	zeros := int(m.mant % 10)
	switch zeros {
	case 8:
		zeros = -2
	case 9:
		zeros = -1
	}
	m.mant, m.exp, m.scale = m.mant/10, zeros, scale{Farad, -12}
}

// printedScale is the unit a capacitor's print leaves out: µF for a number
// below 1, pF from 1 upwards. Common practice, no source.
func (m *marking) printedScale() scale {
	if m.mant != 0 && digits(m.mant)+m.exp <= 0 {
		return scale{Farad, -6}
	}
	return scale{Farad, -12}
}

// bareCapacitor lists what a number without unit can be on a capacitor. Even a
// single reading is a question: it rests on the set's own diagram.
func (m *marking) bareCapacitor() error {
	printed := m.printedScale()
	ask := &Ambiguous{Why: "no unit is given"}
	ask.add(m.value("", m.exp, printed))
	if printed.exp == -12 {
		if m.plain == 3 && m.mant >= 100 && m.mant%10 != 0 {
			code := *m
			code.threeDigits()
			ask.add(code.value("", code.exp, code.scale))
		}
		ask.add(m.value("", m.exp, scale{Farad, -6}))
	}
	if m.comma {
		ask.add(m.value("", m.commaExp, scale{Farad, -6}))
	}
	return ask
}

func stepsName(s scale) string {
	if s.exp == -6 {
		return "µF"
	}
	return "pF"
}
