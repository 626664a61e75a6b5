package oddshop

import (
	"fmt"
	"regexp"
	"unicode"
	"unicode/utf8"
)

// Obeyed is the first sign of a text that a terminal obeys instead of showing it, with
// what stands around it; empty where there is none. Line ends and tabs are no such signs.
// Those that turn the direction of a line make its parts stand in another order than they
// were written (Unicode Standard Annex 9, 2), and two of Unicode's own end lines.
func Obeyed(text string) string {
	for i, r := range text {
		_, size := utf8.DecodeRuneInString(text[i:])
		bad := r == utf8.RuneError && size == 1 || unicode.IsControl(r) && r != '\n' && r != '\t' ||
			r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069' || r == '\u2028' || r == '\u2029' || r == '\u200e' || r == '\u200f' || r == '\u061c'
		if bad {
			return fmt.Sprintf("%U in %.200q", r, text[max(0, i-80):])
		}
	}
	return ""
}

// debris is what fmt leaves where its arguments don't fit, and floats that are no numbers.
var debris = regexp.MustCompile(`%!.?(\(|$)|\b(NaN|[+-]?Inf)\b`)

// Debris is the first place of a text at which something was written that nobody wrote;
// empty where there is none.
func Debris(text string) string {
	at := debris.FindStringIndex(text)
	if at == nil {
		return ""
	}
	return fmt.Sprintf("%.200q", text[max(0, at[0]-80):])
}
