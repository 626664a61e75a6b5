package picture

import (
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// Sizes of letters in units. The style's classes give the same.
const (
	bigLetters   = 15.0
	letters      = 12.0
	smallLetters = 10.5
)

// widthOf guesses how wide a text comes out, from the widths of a wide common
// font (from memory: figures 0.64 of the size, most small letters 0.6, capitals
// 0.6 to 0.8). A guess that is too wide leaves air, one that is too narrow lets
// texts touch.
func widthOf(s string, size float64) (w float64) {
	for _, r := range s {
		w += runeWidth(r)
	}
	return w * size
}

func runeWidth(r rune) float64 {
	switch {
	case joinsBefore(r):
		return 0
	case r >= 0x1f000 || isWide(r):
		return 1.3
	case strings.ContainsRune("ijlI.,:;'| ", r):
		return 0.33
	case strings.ContainsRune("-ftr()[]!/", r):
		return 0.42
	case strings.ContainsRune("mwMW@%—…", r):
		return 1
	case unicode.IsUpper(r):
		return 0.7
	case strings.ContainsRune("ckszxvy–", r):
		return 0.58
	}
	return 0.64
}

func isWide(r rune) bool {
	k := width.LookupRune(r).Kind()
	return k == width.EastAsianWide || k == width.EastAsianFullwidth
}

const (
	zeroWidthJoiner = '\u200d'
	ellipsis        = "…"
)

// joinsBefore reports whether a rune is drawn together with the one before it:
// accents, variation selectors, tones of skin, joiners.
func joinsBefore(r rune) bool {
	return unicode.In(r, unicode.Mn, unicode.Me) || r == zeroWidthJoiner || r >= 0x1f3fb && r <= 0x1f3ff
}

func isFlagHalf(r rune) bool { return r >= 0x1f1e6 && r <= 0x1f1ff }

// signs splits a text where it may be cut: not between a letter and its accent,
// nor inside an emoji that is made of several.
func signs(s string) []string {
	var out []string
	var last rune
	half := false
	for _, r := range s {
		pair := half && isFlagHalf(r)
		if n := len(out); n > 0 && (joinsBefore(r) || last == zeroWidthJoiner || pair) {
			out[n-1] += string(r)
		} else {
			out = append(out, string(r))
		}
		half = isFlagHalf(r) && !pair
		last = r
	}
	return out
}

// cut shortens a text that is wider than its room, with an ellipsis.
func cut(s string, room, size float64) string {
	if widthOf(s, size) <= room {
		return s
	}
	kept := ""
	for _, sign := range signs(s) {
		if widthOf(kept+sign+ellipsis, size) > room {
			break
		}
		kept += sign
	}
	return strings.TrimRight(kept, " ") + ellipsis
}

// wrap breaks a text into lines, between words where it can.
func wrap(s string, room, size float64) []string {
	var lines []string
	line := ""
	push := func() {
		if line != "" {
			lines, line = append(lines, line), ""
		}
	}
	for _, word := range strings.Fields(s) {
		if line != "" && widthOf(line+" "+word, size) <= room {
			line += " " + word
			continue
		}
		push()
		for _, sign := range signs(word) {
			if widthOf(line+sign, size) > room {
				push()
			}
			line += sign
		}
	}
	push()
	return lines
}

// nameLines are the lines of a name: one, or two, the second with all the rest.
// A number goes with its unit: "470" at the end of one line and "µF" on the
// next is read as a name with a unit missing. A name without a place to break
// it stays on one.
func nameLines(name string, room, size float64) []string {
	words := strings.Fields(name)
	if widthOf(name, size) <= room || len(words) < 2 {
		return []string{name}
	}
	n := 1
	for n < len(words)-1 && widthOf(strings.Join(words[:n+1], " "), size) <= room {
		n++
	}
	if n > 1 && n == len(words)-1 && startsWithDigit(words[n-1]) && len([]rune(words[n])) <= 3 {
		n--
	}
	if widthOf(strings.Join(words[:n], " "), size) > room {
		return []string{name}
	}
	return []string{strings.Join(words[:n], " "), strings.Join(words[n:], " ")}
}

func startsWithDigit(word string) bool { return word[0] >= '0' && word[0] <= '9' }

// nameHeight is the height of a row for a name.
func nameHeight(name string, room, size, one float64) float64 {
	if len(nameLines(name, room, size)) > 1 {
		return one + size*1.1
	}
	return one
}
