package measure

import "fmt"

// Tolerance is how far a part may be off. The zero Tolerance says that none was
// given.
type Tolerance struct {
	Text string // as printed: `K`, `±10%`, `gold`
	// Minus and Plus are in hundredths of a percent, since IEC 60062 has a
	// 0.25 %. They are equal but for the likes of -20 +80 %.
	Minus, Plus int32
	// Abs is set instead where the letter stands for farads: below 10 pF.
	Abs Value
}

// Given reports whether a tolerance was read.
func (t Tolerance) Given() bool { return t.Text != "" }

// String writes the tolerance for people, or "" if none was given.
func (t Tolerance) String() string {
	switch {
	case !t.Given():
		return ""
	case t.Abs.Unit != "":
		return "±" + t.Abs.Canonical()
	case t.Minus == t.Plus:
		return fmt.Sprintf("±%s %%", decimal(hundredths(t.Plus)))
	}
	return fmt.Sprintf("-%s +%s %%", trimmed(t.Minus), trimmed(t.Plus))
}

func trimmed(n int32) string { return decimal(hundredths(n)) }

// hundredths gives n hundredths with no trailing zeros.
func hundredths(n int32) (mant int64, exp int) {
	v := Value{Mant: int64(n), Exp: -2}.Normal()
	return v.Mant, int(v.Exp)
}

// toleranceLetters is in hundredths of a percent. Source: IEC 60062 (from
// memory).
var toleranceLetters = map[byte]int32{
	'B': 10, 'C': 25, 'D': 50, 'F': 100, 'G': 200, 'J': 500, 'K': 1000, 'M': 2000,
}

// smallLetters is in hundredths of a pF, for capacitors below 10 pF. Source:
// IEC 60062 (from memory).
var smallLetters = map[byte]int64{'B': 10, 'C': 25, 'D': 50, 'F': 100, 'G': 200}

func toleranceLetter(c byte) bool { return toleranceLetters[c] != 0 }

// letterTolerance gives what a tolerance letter on a part of this value means.
func letterTolerance(c byte, v Value) Tolerance {
	t := Tolerance{Text: string(c)}
	if pF, ok := smallLetters[c]; ok && v.Unit == Farad && v.Mant != 0 && v.magnitude() < -11 {
		t.Abs = Value{Text: t.Text, Mant: pF, Exp: -14, Unit: Farad}.Normal()
		return t
	}
	if c == 'Z' {
		t.Minus, t.Plus = 2000, 8000
		return t
	}
	t.Minus, t.Plus = toleranceLetters[c], toleranceLetters[c]
	return t
}
