package papertest

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf16"
)

// Line is one piece of text as it was put on a sheet; places are in points from the
// lower left corner.
type Line struct {
	X, Y float64
	Text string
}

// Sheet is a page: its lines in the order in which they were drawn.
type Sheet []Line

// Text is all of a sheet, a line each.
func (s Sheet) Text() string {
	var b strings.Builder
	for _, l := range s {
		b.WriteString(l.Text + "\n")
	}
	return b.String()
}

// Flow is all of some sheets as one run of words, so that it does not matter where
// a line was broken.
func Flow(sheets []Sheet) string {
	var words []string
	for _, s := range sheets {
		words = append(words, strings.Fields(s.Text())...)
	}
	return strings.Join(words, " ")
}

// shown is a text that is put at a place.
var shown = regexp.MustCompile(`(?s)BT ([-0-9.]+) ([-0-9.]+) Td \(((?:[^\\)]|\\.)*)\) Tj ET`)

// Read gives the sheets of a PDF.
func Read(pdf []byte) ([]Sheet, error) {
	var sheets []Sheet
	for rest := pdf; ; {
		_, after, found := bytes.Cut(rest, []byte("stream\n"))
		if !found {
			break
		}
		packed, next, found := bytes.Cut(after, []byte("\nendstream"))
		if !found {
			return nil, fmt.Errorf("read a PDF of %d bytes: a stream without an end", len(pdf))
		}
		rest = next
		z, err := zlib.NewReader(bytes.NewReader(packed))
		if err != nil {
			continue // a font's table or the like
		}
		content, err := io.ReadAll(z)
		if err != nil {
			continue
		}
		if s := linesOf(content); len(s) > 0 {
			sheets = append(sheets, s)
		}
	}
	if len(sheets) == 0 {
		return nil, fmt.Errorf("read a PDF of %d bytes: no text in it", len(pdf))
	}
	return sheets, nil
}

func linesOf(content []byte) (s Sheet) {
	for _, m := range shown.FindAllSubmatch(content, -1) {
		x, _ := strconv.ParseFloat(string(m[1]), 64) // the expression takes numbers only
		y, _ := strconv.ParseFloat(string(m[2]), 64)
		s = append(s, Line{x, y, letters(m[3])})
	}
	return s
}

// letters undoes the escapes of a string and reads its letters, two bytes each.
func letters(raw []byte) string {
	var plain []byte
	for i := 0; i < len(raw); i++ {
		if raw[i] == '\\' && i+1 < len(raw) {
			i++
			if raw[i] == 'r' {
				plain = append(plain, '\r')
				continue
			}
		}
		plain = append(plain, raw[i])
	}
	var units []uint16
	for i := 0; i+1 < len(plain); i += 2 {
		units = append(units, uint16(plain[i])<<8|uint16(plain[i+1]))
	}
	return string(utf16.Decode(units))
}
