// Package shown makes texts that somebody typed safe to show: signs that a terminal
// would obey are shown as signs. Stored bytes stay what they are; this is for where
// they are shown (F18).
package shown

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Obeyed reports whether a sign does something where it is printed instead of being
// seen: control characters, also those above ASCII (ECMA-48, 8.3: U+009B begins what ESC
// and a bracket begin), the ones that turn the direction of writing (Unicode Standard
// Annex 9, 2), and Unicode's own ends of lines.
func Obeyed(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029'
}

// Turn is where the first sign in a text stands that turns the direction of all that
// follows until another ends it, and -1 where none does: embeddings, overrides and isolates
// (Unicode Standard Annex 9, 2). The marks among the signs of direction, which a text may
// need, turn nothing but their own place.
func Turn(text []byte) int {
	for at := 0; ; at++ {
		next := bytes.IndexByte(text[at:], 0xe2) // what all of them begin with
		if next < 0 {
			return -1
		}
		at += next
		if r, _ := utf8.DecodeRune(text[at:]); '\u202a' <= r && r <= '\u202e' || '\u2066' <= r && r <= '\u2069' {
			return at
		}
	}
}

// Line is a text on one line. A line end in it must not look like a line of ours.
func Line(s string) string {
	return mapped(s, func(r rune) rune {
		switch r {
		case '\n':
			return '\u23ce'
		case '\t':
			return ' '
		}
		return '\ufffd'
	})
}

// Text is a text whose lines and tabs are meant.
func Text(s string) string { return mapped(s, sign) }

func sign(r rune) rune {
	if r == '\n' || r == '\t' {
		return r
	}
	return '\ufffd'
}

func mapped(s string, as func(rune) rune) string {
	if !strings.ContainsFunc(s, Obeyed) && utf8.ValidString(s) {
		return s
	}
	return strings.Map(func(r rune) rune {
		if Obeyed(r) {
			return as(r)
		}
		return r
	}, s)
}

// JSON is the same JSON in which such signs are written by their numbers. Those below a
// space its encoder wrote so already (RFC 8259, 7), except those between its values.
func JSON(b []byte) []byte {
	if !strings.ContainsFunc(string(b), func(r rune) bool { return r > ' ' && Obeyed(r) }) {
		return b
	}
	safe := make([]byte, 0, len(b)+16)
	for _, r := range string(b) {
		if r > ' ' && Obeyed(r) {
			safe = fmt.Appendf(safe, `\u%04x`, r)
		} else {
			safe = utf8.AppendRune(safe, r)
		}
	}
	return safe
}

// On writes texts to a terminal. The ends of their lines are meant, with a carriage
// return before them or without one.
func On(terminal io.Writer) io.Writer { return &screen{to: terminal} }

type screen struct {
	to   io.Writer
	half []byte // of a letter whose rest comes with what is written next
}

func (s *screen) Write(p []byte) (int, error) {
	text := append(s.half, p...)
	end := whole(text)
	s.half = append([]byte(nil), text[end:]...)
	_, err := io.WriteString(s.to, Text(strings.ReplaceAll(string(text[:end]), "\r\n", "\n")))
	return len(p), err
}

// whole is how much of a text ends with a whole letter, and with no carriage return
// whose line end may follow.
func whole(text []byte) int {
	for n := 1; n < utf8.UTFMax && n <= len(text); n++ {
		if at := len(text) - n; utf8.RuneStart(text[at]) {
			if text[at] == '\r' && n == 1 || !utf8.FullRune(text[at:]) {
				return at
			}
			break
		}
	}
	return len(text)
}
