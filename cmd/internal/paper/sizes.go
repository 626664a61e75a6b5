package paper

import (
	"fmt"
	"strings"
)

// Size is a sheet, upright, in millimetres.
type Size struct {
	Name string
	W, H float64
}

// The sheets that a printer of the trade has in it: A4 of ISO 216, and Letter of
// ANSI/ASME Y14.1 (8.5 by 11 inches).
var (
	A4     = Size{"a4", 210, 297}
	Letter = Size{"letter", 215.9, 279.4}
)

// SizeOf is a sheet by its name; A4 where none is said.
func SizeOf(name string) (Size, error) {
	switch strings.ToLower(strings.TrimSpace(name)) {
	case "", A4.Name:
		return A4, nil
	case Letter.Name:
		return Letter, nil
	}
	return Size{}, fmt.Errorf("paper %q: there are a4 and letter", name)
}

// Point is a point of typography in millimetres: 1/72 inch, as PDF has it.
const Point = 25.4 / 72
