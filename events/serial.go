package events

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Key is the form in which a serial, a model or a maker is compared: letters
// and digits only, compatibility forms folded, capitals. "E29 53541",
// "e29-53541" and "E2953541" have one key. What was typed is kept beside it;
// a key is never shown.
func Key(typed string) string {
	if isKey(typed) {
		return typed
	}
	if isASCII(typed) {
		return plainKey(typed)
	}
	var b strings.Builder
	b.Grow(len(typed))
	for _, r := range norm.NFKC.String(typed) {
		if r >= 'a' && r <= 'z' {
			r -= 'a' - 'A'
		}
		if r < 0x80 {
			if r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' {
				b.WriteByte(byte(r))
			}
			continue
		}
		writeKeyRune(&b, r)
	}
	// What stood apart can compose once the dash between is gone.
	return norm.NFKC.String(b.String())
}

func isASCII(s string) bool {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// plainKey is Key of ASCII, of which there is nothing to compose.
func plainKey(s string) string {
	b := make([]byte, 0, len(s))
	for i := range len(s) {
		c := s[i]
		if c >= 'a' && c <= 'z' {
			c -= 'a' - 'A'
		}
		if c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' {
			b = append(b, c)
		}
	}
	return string(b)
}

// isKey reports whether a text is its own key already, the usual case when a
// stored key is compared again.
func isKey(s string) bool {
	for i := range len(s) {
		if c := s[i]; !(c >= '0' && c <= '9' || c >= 'A' && c <= 'Z') {
			return false
		}
	}
	return true
}

// writeKeyRune adds a letter or digit beyond ASCII to a key in capitals and
// leaves everything else out: dashes of any length, dots, marks.
func writeKeyRune(b *strings.Builder, r rune) {
	if unicode.IsLetter(r) || unicode.IsDigit(r) {
		b.WriteRune(unicode.ToUpper(r))
	}
}
