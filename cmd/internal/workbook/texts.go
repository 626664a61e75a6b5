package workbook

import (
	"encoding/xml"
	"errors"
	"strconv"
	"strings"
	"unicode/utf8"
)

var errTooMuchText = errors.New("its texts come to more than 512 MiB, which no job book has")

// readTexts reads the table of texts (ECMA-376 part 1, 18.4.9), which cells name by
// their place in it.
func (b *Book) readTexts(part string) error {
	size := 0
	return b.walk(part, func(t *tokens, el xml.StartElement) error {
		if el.Name.Local != "si" {
			return nil
		}
		s, err := t.richText()
		if size += len(s) + 16; size > mostText {
			return errTooMuchText
		}
		b.texts = append(b.texts, s)
		return err
	})
}

// richText is the text of a cell, put together from its runs. How it is pronounced
// (rPh) stands beside it and is not part of it.
func (t *tokens) richText() (string, error) {
	var b []byte
	err := t.within(func(el xml.StartElement) (err error) {
		switch el.Name.Local {
		case "t":
			b, err = t.text(b)
		case "rPh":
			err = t.skip()
		}
		return err
	})
	return unescaped(string(b)), err
}

// unescaped turns _x000D_ into the letter of that number, as the standard (22.9.2.19)
// writes what XML has no letter for. What no text has is left out.
func unescaped(s string) string {
	if !strings.Contains(s, "_x") {
		return clean(s)
	}
	var b strings.Builder
	for len(s) > 0 {
		if len(s) >= 7 && s[0] == '_' && s[1] == 'x' && s[6] == '_' {
			if n, err := strconv.ParseUint(s[2:6], 16, 16); err == nil && utf8.ValidRune(rune(n)) {
				b.WriteRune(rune(n))
				s = s[7:]
				continue
			}
		}
		b.WriteByte(s[0])
		s = s[1:]
	}
	return clean(b.String())
}

// clean takes out control signs other than tabs and line ends: nobody can have typed
// them.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' && r != '\r' {
			return -1
		}
		return r
	}, s)
}
