package app

import (
	"crypto/rand"
	"fmt"
	"strings"

	"oldhand/cmd/internal/shown"
)

// NoShop is returned when a folder holds no shop.
type NoShop struct{ Dir string }

func (e *NoShop) Error() string {
	return fmt.Sprintf("there is no shop in %s; found one: oldhand new NAME --bench NAME --shop %[1]s; or come into one as a further bench: oldhand join CODE --bench NAME --shop %[1]s", e.Dir)
}

// HasShop is returned when a shop would be made where one is.
type HasShop struct{ Dir string }

func (e *HasShop) Error() string { return fmt.Sprintf("there is a shop in %s already", e.Dir) }

// Unclear is returned when what was typed does not name exactly one unit. It
// carries the likely ones, best first.
type Unclear struct {
	Typed  string
	Why    string
	Likely []Likely
}

// Likely is a unit that may be meant.
type Likely struct {
	Unit     string  `json:"unit"`
	Tag      string  `json:"tag,omitempty"`
	Maker    string  `json:"maker,omitempty"`
	Model    string  `json:"model,omitempty"`
	Serial   string  `json:"serial,omitempty"`
	Likeness float64 `json:"likeness"`
	Why      string  `json:"why"`
}

func (l Likely) String() string {
	s := strings.Join(strings.Fields(l.Maker+" "+l.Model), " ")
	if l.Serial != "" {
		s += ", serial " + l.Serial
	}
	return shown.Line(fmt.Sprintf("%s  %s (%s)", l.Tag, s, l.Why))
}

func (e *Unclear) Error() string {
	s := fmt.Sprintf("%q %s", e.Typed, e.Why)
	if len(e.Likely) > 0 {
		s += "; did you mean:"
		for _, l := range e.Likely {
			s += "\n  " + l.String()
		}
	}
	return s
}

// NotHere is returned when an action needs a unit on the bench and it is not.
type NotHere struct{ Unit, Why string }

func (e *NotHere) Error() string { return fmt.Sprintf("%s %s", e.Unit, e.Why) }

// Wrong is returned when what was typed for a field can't be taken.
type Wrong struct{ What, Why string }

func (e *Wrong) Error() string { return e.What + ": " + e.Why }

// NoWord is returned for a word that a table does not have, with those near it.
type NoWord struct {
	Table, Typed string
	Near         []string
}

func (e *NoWord) Error() string { return e.wrong().Error() }

// Unwrap makes it what every field that can't be taken is.
func (e *NoWord) Unwrap() error { return e.wrong() }

func (e *NoWord) wrong() *Wrong {
	add := fmt.Sprintf("oldhand word %q %q", e.Table, e.Typed)
	why := "is not in the table; see it with: oldhand words, or add it with: " + add
	if len(e.Near) > 0 {
		why = "is not in the table; perhaps " + strings.Join(e.Near, ", ") + "? Else add it with: " + add
	}
	return &Wrong{e.Table + " " + e.Typed, why}
}

func random(b []byte) error {
	if _, err := rand.Read(b); err != nil {
		return fmt.Errorf("draw random bytes: %w", err)
	}
	return nil
}
