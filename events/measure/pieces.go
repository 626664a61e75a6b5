package measure

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// piece is a stretch of a part's marking without spaces: a number with what is
// attached to it, or a word.
type piece struct {
	text string
	// joint is what stands between this piece and the one before: '-', '/', '+',
	// 'x' or '±' where such a sign is there, else ' '.
	joint byte
	// number is set for what starts with a digit, bare for digits, points and
	// commas only.
	number, bare bool
}

const plusMinus = '~' // ± as a joint, which is a byte

// pieces cuts a marking up. `50-30-30 MFD, 450V` gives five pieces.
func pieces(text string) (all []piece) {
	joint := byte(' ')
	for rest := text; rest != ""; {
		if len(all) > 0 && all[len(all)-1].bare && timesNext(rest) {
			joint, rest = 'x', rest[1:]
		}
		r, width := utf8.DecodeRuneInString(rest)
		if isPieceStart(rest, r) {
			p := cutPiece(rest)
			p.joint = joint
			all, rest, joint = append(all, p), rest[len(p.text):], ' '
			continue
		}
		switch r {
		case '-', '/', '+':
			joint = byte(r)
		case '–', '−':
			joint = '-'
		case '×':
			joint = 'x'
		case '±':
			joint = plusMinus
		}
		rest = rest[width:]
	}
	return all
}

func isPieceStart(rest string, r rune) bool {
	return unicode.IsLetter(r) || r == '%' || r == '\u2126' || numberRun(rest) != ""
}

// cutPiece takes one piece off the front.
func cutPiece(rest string) piece {
	run := numberRun(rest)
	end := len(run)
	for end < len(rest) {
		r, width := utf8.DecodeRuneInString(rest[end:])
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '%' && r != '\u2126' || run != "" && end == len(run) && timesNext(rest[end:]) {
			break
		}
		end += width
	}
	return piece{text: rest[:end], number: run != "", bare: run != "" && end == len(run)}
}

// timesNext reports an x in front of a number, as in 20x20.
func timesNext(rest string) bool {
	return len(rest) > 1 && rest[0]|0x20 == 'x' && isDigit(rest[1])
}

// hasDigit reports whether a text could hold a value at all.
func hasDigit(s string) bool { return strings.ContainsAny(s, "0123456789") }
