package jobbook

import (
	"bytes"
	"fmt"
	"strings"
)

// Options say how a book is to be opened.
type Options struct {
	AsOf    Day     // no date of the book lies after it; has to be set
	Mapping Mapping // what it sets is taken instead of being guessed
}

// Book is an old job book, looked at and ready to be read. It may be read any
// number of times, by one goroutine at a time.
type Book struct {
	Mapping  Mapping  // the one used, with all that was guessed
	Headings []string // of the columns, in the file's order
	Unused   []string // headings of the columns that nothing takes
	Evidence Evidence // on the order of month and day
	Doubt    string   // what a person should look at before anything is taken, else empty

	content content
	asOf    Day
	cols    columns
	counts  *Counts // of the last whole reading
}

// UnmappedError is returned for a table whose columns can't be told. It carries
// what could be, so that a person can set the rest.
type UnmappedError struct {
	Mapping  Mapping
	Headings []string
	Why      string
}

func (e *UnmappedError) Error() string {
	return fmt.Sprintf("%s; the headings are: %s", e.Why, strings.Join(e.Headings, ", "))
}

// mostColumns is far above what a person keeps in a table, and bounds what a
// file that is none can cost.
const mostColumns = 1000

// Open looks a book over: it settles its encoding and separator, or its sheet, and its
// columns, and reads all of it once for what only the whole can tell.
func Open(data []byte, opt Options) (*Book, error) {
	f, err := Load(data)
	if err != nil {
		return nil, fmt.Errorf("open job book: %w", err)
	}
	return f.Open(opt)
}

// findHeading gives the cells of the headings. Where the mapping does not say
// which row they are, it is the one of the first rows with the most headings
// that are known: a book may begin with its title.
func (b *Book) findHeading(m *Mapping) []string {
	s := b.content.splitter(m.Separator)
	best, most := []string{}, -1
	row, wanted := 0, m.HeadingRow
	for n := 1; n <= mostHeadingRow; n++ {
		rec, ok := s.next()
		if !ok {
			break
		}
		if wanted > 0 && n != wanted || rec.broken != "" {
			continue
		}
		cells := b.texts(rec.cells)
		if known := knownHeadings(cells); known > most && !(rec.blank() && wanted == 0) {
			best, most, row = cells, known, n
		}
	}
	if m.HeadingRow = max(row, wanted); m.HeadingRow == 0 {
		m.HeadingRow = 1
	}
	return best
}

func knownHeadings(cells []string) int {
	n := 0
	for _, c := range cells {
		if firmField(c) >= 0 {
			n++
		}
	}
	return n
}

// texts gives cells as text, for the few that are looked at one by one.
func (b *Book) texts(cells [][]byte) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = b.text(c)
	}
	return out
}

func (b *Book) text(cell []byte) string {
	return string(tidy(b.content.appendLetters(nil, cell)))
}

// tidy takes from a cell what is not part of what was typed: outer space, the
// carriage returns of its lines, and the quote mark that programs put before a
// cell so that a spreadsheet does not take it as a formula.
func tidy(cell []byte) []byte {
	if len(cell) > 1 && cell[0] == '\'' && strings.IndexByte("=+-@\t\r", cell[1]) >= 0 {
		cell = cell[1:]
	}
	if bytes.IndexByte(cell, '\r') >= 0 {
		cell = bytes.ReplaceAll(cell, []byte("\r\n"), []byte("\n"))
	}
	return bytes.TrimSpace(cell)
}

// survey reads the whole book for what its rows tell only together.
func (b *Book) survey() {
	money := decimals{currencies: map[string]int{}}
	charge := b.cols.of[atCharged]
	dates := []int{b.cols.of[atReceived], b.cols.of[atShipped]}
	b.records(func(row int, rec record) bool {
		for _, col := range dates {
			if col >= 0 && col < len(rec.cells) {
				b.Evidence.weigh(rec.cells[col], row, b.asOf)
			}
		}
		if charge >= 0 && charge < len(rec.cells) && len(rec.cells[charge]) > 0 {
			money.weigh(b.text(rec.cells[charge]))
		}
		return true
	})
	if b.content.isSheet {
		b.Doubt = b.Evidence.doubt()
	}
	if b.Mapping.Dates == OrderUnknown {
		b.Mapping.Dates = b.Evidence.Order()
	}
	if b.Mapping.DayNumbers == "" {
		b.Mapping.DayNumbers = "no"
	}
	if b.Mapping.Decimal == "" {
		b.Mapping.Decimal = money.sign()
	}
	if b.Mapping.Currency == "" {
		b.Mapping.Currency = money.currency()
	}
	if b.Mapping.Currency == "" && charge >= 0 {
		b.Mapping.Currency = headingCurrency(b.Headings[charge])
	}
}

// headingCurrency is the currency that the heading of the charge names.
func headingCurrency(heading string) string {
	for _, word := range strings.FieldsFunc(strings.ToLower(heading), func(r rune) bool { return strings.ContainsRune(" ()[],/:", r) }) {
		for _, s := range signs {
			if word == s.sign {
				return s.codes[0]
			}
		}
		if isoCodes[word] {
			return strings.ToUpper(word)
		}
	}
	return ""
}

// records walks the records behind the headings. Blank ones are passed over;
// they count, so that a number is a spreadsheet's row number. A record over
// several lines that has another number of cells than there are headings is
// taken as the work of a quote astray: it is one line that is broken.
func (b *Book) records(yield func(row int, rec record) bool) {
	s := b.content.splitter(b.Mapping.Separator)
	for row := 1; ; row++ {
		start := s.at
		rec, ok := s.next()
		if !ok {
			return
		}
		if row > b.Mapping.HeadingRow && rec.lines > 1 && len(rec.cells) != len(b.Headings) {
			s.oneLine(rec, start)
			rec = record{line: rec.line, lines: 1, broken: "a quote is not closed"}
		}
		if row <= b.Mapping.HeadingRow || rec.blank() && b.content.rows.broken[row] == "" {
			continue
		}
		if b.content.isSheet {
			rec.broken = b.content.rows.why(row)
		}
		if !yield(row, rec) {
			return
		}
	}
}

// Records is about how many rows there are: in a text, a cell may hold several lines.
func (b *Book) Records() int { return b.content.records() }
