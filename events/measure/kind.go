package measure

import (
	"errors"
	"fmt"
	"strings"
)

// Kind is one thing that is measured on a set. Rows of it are in Kinds.
type Kind struct {
	// ID is stored with every reading of this kind; it is never changed or given
	// to another kind.
	ID   string
	Name string // in the trade's words
	// Quantity and Units say what may be typed. Units are UCUM codes with their
	// prefix; the first is the one a number without unit takes and the one
	// readings are shown in. Every prefix of a unit listed here is read.
	Quantity Quantity
	Units    []string
	Plausible
	Decimals int // shown, in the first unit
	Worse    Worse
}

// Plausible is the range in which a reading surprises nobody, both ends in:
// Low and High times 10^Exp in the base unit of the kind's first unit. A reading
// outside it is as good as any other and gets a warning.
type Plausible struct {
	Low, High int64
	Exp       int8
	Source    string // where the range comes from
}

// Worse says in which direction a reading of a kind gets worse.
type Worse uint8

// The directions.
const (
	NeitherWorse Worse = iota // right is what the set's papers say
	MoreWorse
	LessWorse
)

// Find gives the kind with an id.
func Find(id string) (Kind, bool) {
	k, ok := kindsByID[id]
	return k, ok
}

var kindsByID = byID(Kinds)

func byID(kinds []Kind) map[string]Kind {
	m := make(map[string]Kind, len(kinds))
	for _, k := range kinds {
		m[k.ID] = k
	}
	return m
}

// Read reads a reading of this kind as typed. A number without a unit takes the
// kind's first unit. Outside the plausible range, or where the text is known
// for a trap, it warns; the value is what was typed all the same.
//
// It refuses, with an error naming text and kind, a text that is no number, a
// unit of something else, and, as an *Ambiguous, a text with two readings.
func (k Kind) Read(text string) (value Value, warnings []string, err error) {
	bare, _ := scaleOf(k.Units[0])
	value, _, err = read(text, k.Quantity, bare)
	if err != nil {
		value, err = k.readOther(text, value, err)
	}
	if err != nil {
		return value, nil, fmt.Errorf("%s: %w", k.Name, err)
	}
	if value.Doubt != "" {
		warnings = append(warnings, value.Doubt)
	}
	if value.Unit == bare.unit && k.outside(value) {
		warnings = append(warnings, fmt.Sprintf("%s is outside %s to %s for %s (%s)",
			value.Canonical(), k.low().Canonical(), k.high().Canonical(), k.Name, k.Source))
	}
	return value, warnings, nil
}

// readOther tries the kind's units of another quantity: distortion in dB.
func (k Kind) readOther(text string, was Value, first error) (Value, error) {
	if ask := (*Ambiguous)(nil); errors.As(first, &ask) {
		return was, first
	}
	for _, code := range k.Units[1:] {
		if q := quantityOf(code); q != k.Quantity {
			if v, _, err := read(text, q, scale{}); err == nil {
				return v, nil
			}
		}
	}
	return was, first
}

// Format shows a value as this kind is shown: in its first unit, rounded to its
// decimals, halves away from zero. A value in another base unit is shown in its
// canonical form.
func (k Kind) Format(v Value) string {
	s, symbol := scaleOf(k.Units[0])
	if v.Unit != s.unit || v.Unit == YesOrNo {
		return v.Canonical()
	}
	text := rounded(v, int(s.exp), k.Decimals)
	if symbol == "" {
		return text
	}
	return text + " " + symbol
}

// Base is the unit that readings of the kind are kept in. A kind with units of
// several quantities has readings in others too; they can't be put beside these.
func (k Kind) Base() Unit {
	s, _ := scaleOf(k.Units[0])
	return s.unit
}

// Symbol is how the kind's first unit is written for people, such as "mV".
func (k Kind) Symbol() string {
	_, symbol := scaleOf(k.Units[0])
	return symbol
}

// InFirst gives a value of the kind's base unit in its first unit, for drawing
// and for statistics: 62 for 0.062 V of a kind that is shown in mV.
func (k Kind) InFirst(v Value) float64 { return k.ToFirst()(v) }

// ToFirst is InFirst for many values: the unit is looked for once.
func (k Kind) ToFirst() func(Value) float64 {
	s, _ := scaleOf(k.Units[0])
	return func(v Value) float64 { return Value{Mant: v.Mant, Exp: v.Exp - s.exp}.Float() }
}

// rounded writes v in units of 10^exp with so many decimals.
func rounded(v Value, exp, decimals int) string {
	mant, shift := v.Mant, int(v.Exp)-exp+decimals
	for ; shift > 0 && digits(mant) < maxDigits; shift-- {
		mant *= 10
	}
	if shift > 0 { // more digits than an int64 has; then all of them are whole
		return decimal(v.Mant, int(v.Exp)-exp)
	}
	by := int64(1)
	for ; shift < 0 && by < 1e18; shift++ {
		by *= 10
	}
	if shift < 0 {
		mant = 0 // less than a tenth of the last decimal
	}
	return decimal(divideRounded(mant, by), -decimals)
}

func (k Kind) outside(v Value) bool {
	return v.Compare(k.low()) < 0 || v.Compare(k.high()) > 0
}

func (k Kind) low() Value {
	s, _ := scaleOf(k.Units[0])
	return Value{Mant: k.Low, Exp: k.Exp, Unit: s.unit}
}

func (k Kind) high() Value {
	s, _ := scaleOf(k.Units[0])
	return Value{Mant: k.High, Exp: k.Exp, Unit: s.unit}
}

// scaleOf gives the scale of a UCUM code with prefix and how it is shown. A
// code that is not in the table gives the zero scale; a test walks Kinds.
func scaleOf(code string) (s scale, symbol string) {
	for i := range unitRows {
		row := &unitRows[i]
		tail, ok := strings.CutSuffix(code, string(row.unit))
		if !ok {
			continue
		}
		exp, ok := ucumPrefixes[tail]
		if !ok {
			continue
		}
		return scale{row.unit, exp}, symbolOf(row, exp)
	}
	return scale{}, ""
}

// ucumPrefixes are those of UCUM that readings are shown with.
var ucumPrefixes = map[string]int8{
	"": 0, "p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "M": 6, "G": 9,
}

func symbolOf(row *unitRow, exp int8) string {
	for _, s := range row.steps {
		if s.exp == exp {
			return s.symbol
		}
	}
	return ""
}

func quantityOf(code string) Quantity {
	s, _ := scaleOf(code)
	for i := range unitRows {
		if unitRows[i].unit == s.unit {
			return unitRows[i].quantity
		}
	}
	return Number
}
