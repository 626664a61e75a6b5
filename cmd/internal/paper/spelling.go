package paper

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Speller spells texts with the letters that there are. Its zero value is ready.
type Speller struct{ lacking map[rune]bool }

// Spell gives a text as it can be printed. Where signs stood that the fonts lack
// their number stands in brackets. What controls a terminal or the direction of
// writing is left out, a tab is a space, and a line end stays.
func (s *Speller) Spell(text string) string {
	var b strings.Builder
	missing := 0
	flush := func() {
		if missing > 0 {
			b.WriteString(fmt.Sprintf("[%d %s]", missing, map[bool]string{true: "sign", false: "signs"}[missing == 1]))
			missing = 0
		}
	}
	for _, r := range norm.NFC.String(strings.ToValidUTF8(text, "\ufffd")) {
		switch {
		case r == '\n':
			flush()
			b.WriteRune(r)
		case r == '\t' || unicode.Is(unicode.Zs, r):
			flush()
			b.WriteByte(' ')
		case unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
		case has(r):
			flush()
			b.WriteRune(r)
		default:
			if s.lacking == nil {
				s.lacking = map[rune]bool{}
			}
			s.lacking[r] = true
			missing++
		}
	}
	flush()
	return b.String()
}

// mostNamed is how many lacking signs are named one by one.
const mostNamed = 12

// Lacking are the signs that could not be printed, rising.
func (s *Speller) Lacking() []rune {
	list := make([]rune, 0, len(s.lacking))
	for r := range s.lacking {
		list = append(list, r)
	}
	slices.Sort(list)
	return list
}

// Says is a sentence about them, by the numbers that Unicode gives them; empty
// where nothing was lacking.
func (s *Speller) Says() string {
	list := s.Lacking()
	if len(list) == 0 {
		return ""
	}
	var names []string
	for _, r := range list[:min(len(list), mostNamed)] {
		names = append(names, fmt.Sprintf("U+%04X", r))
	}
	more := ""
	if n := len(list) - mostNamed; n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	return "This paper's letters lack " + strings.Join(names, " ") + more + "; where they were written, their number stands in brackets."
}
