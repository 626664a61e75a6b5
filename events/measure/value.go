package measure

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
)

// Value is Mant x 10^Exp in a base unit, with the text it was read from. The
// zero Value, with no unit, stands for none.
type Value struct {
	Text string // as typed, to the last space
	Mant int64
	Exp  int8
	Unit Unit
	// Doubt is empty, or says in a sentence which trap this text is known for;
	// the value is then the likely reading.
	Doubt string
}

// maxDigits is how many digits a value can have: what an int64 holds for sure.
const maxDigits = 18

// Normal gives the value with its mantissa free of trailing zeros, the form
// that Parse returns and in which equal values have equal Mant and Exp.
func (v Value) Normal() Value {
	if v.Mant == 0 {
		v.Exp = 0
		return v
	}
	for v.Mant%10 == 0 && v.Exp < math.MaxInt8 {
		v.Mant /= 10
		v.Exp++
	}
	return v
}

// Same reports whether two values are equal, however they were typed.
func (v Value) Same(w Value) bool {
	v, w = v.Normal(), w.Normal()
	return v.Mant == w.Mant && v.Exp == w.Exp && v.Unit == w.Unit
}

// Compare orders two values of one unit by size, exactly: -1, 0 or 1. The
// caller sees to it that the units are the same.
func (v Value) Compare(w Value) int {
	if a, b := sign(v.Mant), sign(w.Mant); a != b || a == 0 {
		return cmp.Compare(a, b)
	}
	if a, b := v.magnitude(), w.magnitude(); a != b {
		return cmp.Compare(a, b) * sign(v.Mant)
	}
	// Of one magnitude and sign: cut to the same number of digits, the mantissas
	// compare like the values, and what was cut off decides a tie.
	switch d := digits(v.Mant) - digits(w.Mant); {
	case d > 0:
		by := tenTo(d)
		return cmp.Or(cmp.Compare(v.Mant/by, w.Mant), sign(v.Mant%by))
	case d < 0:
		by := tenTo(-d)
		return cmp.Or(cmp.Compare(v.Mant, w.Mant/by), -sign(w.Mant%by))
	}
	return cmp.Compare(v.Mant, w.Mant)
}

// tenTo gives 10^n for n up to 18.
func tenTo(n int) int64 {
	power := int64(1)
	for range n {
		power *= 10
	}
	return power
}

// Float gives the value in its base unit, for drawing and for formulas that
// need a logarithm or a root. It is never stored.
func (v Value) Float() float64 {
	if v.Exp < 0 {
		return float64(v.Mant) / math.Pow10(-int(v.Exp))
	}
	return float64(v.Mant) * math.Pow10(int(v.Exp))
}

// Canonical writes the value in engineering form for people: `47 pF`,
// `0.1 µF`, `4.7 kΩ`. Equal values give equal text whatever was typed, so it
// serves to group parts, and Parse reads it back to the same value.
func (v Value) Canonical() string {
	v = v.Normal()
	if v.Unit == YesOrNo {
		return yesNo(v.Mant)
	}
	steps := stepsOf(v.Unit)
	s := steps[0]
	for _, next := range steps {
		if v.Mant == 0 && next.exp == 0 || v.Mant != 0 && v.magnitude() >= int(next.from) {
			s = next
		}
	}
	text := decimal(v.Mant, int(v.Exp)-int(s.exp))
	if s.symbol == "" {
		return text
	}
	return text + " " + s.symbol
}

// magnitude is the power of ten of the first digit: 2 for 470, -1 for 0.47.
func (v Value) magnitude() int { return digits(v.Mant) - 1 + int(v.Exp) }

func sign(n int64) int { return cmp.Compare(n, 0) }

// digits counts the digits of n; 0 has none.
func digits(n int64) (count int) {
	for ; n != 0; n /= 10 {
		count++
	}
	return count
}

// decimal writes mant x 10^exp without an exponent.
func decimal(mant int64, exp int) string {
	buf := strconv.AppendInt(make([]byte, 0, 32), mant, 10)
	for ; exp > 0 && mant != 0; exp-- {
		buf = append(buf, '0')
	}
	if exp >= 0 {
		return string(buf)
	}
	start := 0
	if mant < 0 {
		start = 1
	}
	for len(buf)-start <= -exp {
		buf = append(buf, 0)
		copy(buf[start+1:], buf[start:])
		buf[start] = '0'
	}
	point := len(buf) + exp
	buf = append(buf, 0)
	copy(buf[point+1:], buf[point:])
	buf[point] = '.'
	return string(buf)
}

func yesNo(mant int64) string {
	if mant == 0 {
		return "no"
	}
	return "yes"
}

// Add gives the sum of two values of one unit, exactly. It refuses other units and
// a sum of more digits than a value can have.
func Add(a, b Value) (Value, error) {
	if a.Unit != b.Unit {
		return Value{}, fmt.Errorf("add %s to %s: different units", b.Canonical(), a.Canonical())
	}
	if a.Exp > b.Exp {
		a, b = b, a
	}
	for ; b.Exp > a.Exp && digits(b.Mant) < maxDigits; b.Exp-- {
		b.Mant *= 10
	}
	if b.Exp != a.Exp && b.Mant != 0 || digits(a.Mant+b.Mant) > maxDigits {
		return Value{}, fmt.Errorf("add %s to %s: they are too far apart", b.Canonical(), a.Canonical())
	}
	return Value{Text: a.Text + " + " + b.Text, Mant: a.Mant + b.Mant, Exp: a.Exp, Unit: a.Unit}.Normal(), nil
}
