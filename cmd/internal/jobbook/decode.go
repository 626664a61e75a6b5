package jobbook

import (
	"bytes"
	"errors"
	"fmt"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// The encodings that are read, by the names that a Mapping uses.
const (
	UTF8        = "utf-8"
	Windows1252 = "windows-1252"
	UTF16LE     = "utf-16le"
	UTF16BE     = "utf-16be"
)

var (
	bomUTF8    = []byte{0xEF, 0xBB, 0xBF}
	bomUTF16LE = []byte{0xFF, 0xFE}
	bomUTF16BE = []byte{0xFE, 0xFF}
)

// ErrEmpty is returned for a file with nothing in it.
var ErrEmpty = errors.New("the file is empty")

// content is a file ready for splitting: its bytes with ASCII separators, and
// what its cells' other bytes mean.
type content struct {
	data     []byte
	encoding string
	checked  bool // all cells are known to come out as valid UTF-8
	lossy    bool // somewhere a letter could not be read

	isSheet  bool // of a workbook: cells and rows end with signs of their own
	from1904 bool // day numbers are counted from 1904
	rows     sheetRows
}

// splitter cuts the text into records.
func (c *content) splitter(sep byte) *splitter {
	if !c.isSheet {
		return newSplitter(c.data, sep)
	}
	s := newSplitter(c.data, cellEnd)
	s.rowEnd = rowEnd
	return s
}

func (c *content) records() int {
	if c.isSheet {
		return bytes.Count(c.data, []byte{rowEnd})
	}
	return bytes.Count(c.data, []byte{'\n'})
}

// decode finds the encoding of a file, or takes the one given. A byte order
// mark decides; else all of the file has to be UTF-8 to be taken as that; else
// it is Windows-1252, in which any byte is a letter. No detector is asked: on
// files as short as these they name languages by chance.
//
// Windows-1252 is decoded cell by cell, since its separators are ASCII and the
// file need not stand in memory twice.
func decode(data []byte, encoding string) (content, error) {
	if len(data) == 0 {
		return content{}, ErrEmpty
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) {
		return content{}, errors.New("the file is a workbook or another archive: for open repair data, save the sheet as CSV")
	}
	if encoding == "" {
		encoding = guessEncoding(data)
	}
	c := content{encoding: encoding}
	switch encoding {
	case UTF16LE, UTF16BE:
		text, err := decodeUTF16(data, encoding)
		if err != nil {
			return content{}, err
		}
		c.data = text
	case UTF8, Windows1252:
		c.data = bytes.TrimPrefix(data, bomUTF8)
	default:
		return content{}, fmt.Errorf("encoding %q is not known: write %s, %s, %s or %s", encoding, UTF8, Windows1252, UTF16LE, UTF16BE)
	}
	if i := bytes.IndexByte(c.data, 0); i >= 0 {
		return content{}, fmt.Errorf("byte %d is zero: the file is no text table, or it is UTF-16 without its mark; name its encoding in the mapping", i)
	}
	if len(bytes.TrimSpace(c.data)) == 0 {
		return content{}, ErrEmpty
	}
	c.data = unixLines(c.data)
	c.checked = encoding == Windows1252 || utf8.Valid(c.data)
	c.lossy = encoding == Windows1252 && hasHoles(c.data) || encoding != Windows1252 && bytes.Contains(c.data, []byte("\uFFFD"))
	return c, nil
}

func guessEncoding(data []byte) string {
	switch {
	case bytes.HasPrefix(data, bomUTF16LE):
		return UTF16LE
	case bytes.HasPrefix(data, bomUTF16BE):
		return UTF16BE
	case utf8.Valid(data):
		return UTF8
	}
	return Windows1252
}

func decodeUTF16(data []byte, encoding string) ([]byte, error) {
	order := unicode.LittleEndian
	if encoding == UTF16BE {
		order = unicode.BigEndian
	}
	text, err := unicode.UTF16(order, unicode.UseBOM).NewDecoder().Bytes(data)
	if err != nil {
		return nil, fmt.Errorf("read the file as %s: %w", encoding, err)
	}
	return text, nil
}

// unixLines gives a file of the old Macintosh, whose lines end in a lone
// carriage return, the line ends that the splitter knows.
func unixLines(data []byte) []byte {
	if bytes.IndexByte(data, '\n') >= 0 || bytes.IndexByte(data, '\r') < 0 {
		return data
	}
	return bytes.ReplaceAll(data, []byte{'\r'}, []byte{'\n'})
}

// windows1252 is the letter of each byte.
var windows1252 = func() (table [256]rune) {
	for i := range table {
		table[i] = charmap.Windows1252.DecodeByte(byte(i))
	}
	return table
}()

// hasHoles reports whether a byte stands in the file that Windows-1252 gives
// no letter.
func hasHoles(data []byte) bool {
	for _, c := range data {
		if windows1252[c] == utf8.RuneError {
			return true
		}
	}
	return false
}

// appendLetters appends a cell as UTF-8.
func (c *content) appendLetters(to, cell []byte) []byte {
	if c.encoding != Windows1252 {
		return append(to, cell...)
	}
	for _, b := range cell {
		if b < utf8.RuneSelf {
			to = append(to, b)
		} else {
			to = utf8.AppendRune(to, windows1252[b])
		}
	}
	return to
}
