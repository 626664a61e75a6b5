package measure

import (
	"fmt"
	"slices"
	"strings"
)

// Ambiguous is returned where a text has more than one real reading, or only a
// reading that a person has to confirm. The caller shows the readings and keeps
// the text.
type Ambiguous struct {
	Text     string
	Why      string  // one clause: what the two ways of reading are
	Readings []Value // the likelier first
}

func (a *Ambiguous) Error() string {
	ways := make([]string, len(a.Readings))
	for i, v := range a.Readings {
		ways[i] = v.Canonical()
	}
	return fmt.Sprintf("read %q: %s: is it %s?", a.Text, a.Why, strings.Join(ways, " or "))
}

// add lists a reading unless it is out of range or stands there already.
func (a *Ambiguous) add(v Value, err error) {
	if err == nil && !slices.ContainsFunc(a.Readings, v.Same) {
		a.Readings = append(a.Readings, v)
	}
}
