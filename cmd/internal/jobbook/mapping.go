package jobbook

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Order says which of two numbers in a date is the month.
type Order string

// The orders, and the one for a file that does not tell.
const (
	OrderUnknown Order = ""
	MonthFirst   Order = "month first"
	DayFirst     Order = "day first"
)

// The stages of a reading.
const (
	AsFound = "as found"
	AsLeft  = "as left"
)

// ReadingColumn is a column of readings. Heading is the column's name; an empty
// Point in a mapping says that the column holds none.
type ReadingColumn struct {
	Heading string
	Point   string // the words of the heading before the unit
	Unit    string // as typed
	Stage   string // AsFound, AsLeft or empty
}

// Mapping is how the columns and the cells of an old book are read. A value
// that is not set is guessed from the file, so the zero Mapping guesses all;
// Book.Mapping is the one that was used.
//
// As text it is one setting a line:
//
//	encoding = "utf-8"        or of a workbook: sheet = "1997"
//	separator = ","
//	heading row = "1"
//	dates = "month first"
//	day numbers = "no"
//	decimal = "."
//	currency = "USD"
//	received = "Date in"
//	notes = ""
//	reading "AM mV" = "AM, mV"
//	reading "Shelf V" = ""
//
// A field with an empty value has no column; a reading with an empty value is
// no reading.
type Mapping struct {
	Sheet      string // of a workbook, which has neither encoding nor separator
	Encoding   string
	Separator  byte
	HeadingRow int    // record that holds the headings, from 1
	Dates      Order  // for dates in numbers alone, such as 1/2/97
	DayNumbers string // "yes" reads 35460 as a spreadsheet's day number, "no" doesn't
	Decimal    string // "." or ","
	Currency   string // ISO 4217 code of the amounts that have no sign of their own
	Columns    map[Field]string
	Readings   []ReadingColumn
	unused     []string // headings that nothing takes, shown as comments
}

// Write writes the mapping as text that a person can edit and ReadMapping
// reads.
func (m Mapping) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintln(b, "# How the columns of the old job book are read. Edit what is wrong and give")
	fmt.Fprintln(b, "# this file with the book. An empty value behind a field: no column has it.")
	for _, s := range m.own() {
		fmt.Fprintf(b, "%s = %s", s.key, strconv.Quote(s.get(&m)))
		if s.hint != "" {
			fmt.Fprintf(b, "  # %s", s.hint)
		}
		fmt.Fprintln(b)
	}
	fmt.Fprintln(b, "\n# field = heading of its column")
	for _, h := range headings {
		fmt.Fprintf(b, "%s = %s\n", h.field, strconv.Quote(m.Columns[h.field]))
	}
	if len(m.Readings) > 0 {
		fmt.Fprintln(b, "\n# reading and its heading = test point, unit, and as found or as left where known")
	}
	for _, r := range m.Readings {
		fmt.Fprintf(b, "reading %s = %s\n", strconv.Quote(r.Heading), strconv.Quote(r.words()))
	}
	if len(m.unused) > 0 {
		fmt.Fprintln(b, "\n# not used:")
	}
	for _, u := range m.unused {
		fmt.Fprintf(b, "#   %s\n", strconv.Quote(u))
	}
	return b.Flush()
}

// String is the text that Write writes.
func (m Mapping) String() string {
	var b strings.Builder
	_ = m.Write(&b) // a strings.Builder takes all that is written
	return b.String()
}

func (r ReadingColumn) words() string {
	if r.Point == "" {
		return ""
	}
	s := r.Point + ", " + r.Unit
	if r.Stage != "" {
		s += ", " + r.Stage
	}
	return s
}

// setting is one line of a mapping that is no column.
type setting struct {
	key, hint string
	get       func(*Mapping) string
	set       func(*Mapping, string) error
}

// own are the settings that a book of this kind has.
func (m *Mapping) own() (list []setting) {
	for _, s := range settings {
		if isText := s.key == "encoding" || s.key == "separator"; s.key == "sheet" && m.Sheet == "" || isText && m.Sheet != "" {
			continue
		}
		list = append(list, s)
	}
	return list
}

var settings = []setting{
	{"sheet", "the sheet of the workbook",
		func(m *Mapping) string { return m.Sheet },
		func(m *Mapping, s string) error {
			m.Sheet = s
			return nil
		}},
	{"encoding", "utf-8, windows-1252, utf-16le or utf-16be",
		func(m *Mapping) string { return m.Encoding },
		func(m *Mapping, s string) error {
			m.Encoding = s
			return oneOf(s, UTF8, Windows1252, UTF16LE, UTF16BE)
		}},
	{"separator", "a comma, a semicolon, a bar or the word tab",
		func(m *Mapping) string { return writeSeparator(m.Separator) },
		func(m *Mapping, s string) (err error) {
			m.Separator, err = readSeparator(s)
			return err
		}},
	{"heading row", "the row that holds the headings",
		func(m *Mapping) string { return strconv.Itoa(m.HeadingRow) },
		func(m *Mapping, s string) error {
			n, err := strconv.Atoi(s)
			if m.HeadingRow = n; err != nil || n < 1 || n > mostHeadingRow {
				return fmt.Errorf("%q is not a row from 1 to %d", s, mostHeadingRow)
			}
			return nil
		}},
	{"dates", "month first or day first; empty where the file does not tell",
		func(m *Mapping) string { return string(m.Dates) },
		func(m *Mapping, s string) error {
			m.Dates = Order(s)
			return oneOf(s, string(MonthFirst), string(DayFirst))
		}},
	{"day numbers", "yes where dates are a spreadsheet's day numbers, such as 35460",
		func(m *Mapping) string { return m.DayNumbers },
		func(m *Mapping, s string) error {
			m.DayNumbers = s
			return oneOf(s, "yes", "no")
		}},
	{"decimal", "the sign before the cents; empty where the file does not tell",
		func(m *Mapping) string { return m.Decimal },
		func(m *Mapping, s string) error {
			m.Decimal = s
			return oneOf(s, ".", ",")
		}},
	{"currency", "of amounts with no sign of their own, as USD or EUR",
		func(m *Mapping) string { return m.Currency },
		func(m *Mapping, s string) error {
			m.Currency = s
			if !isCurrency(s) {
				return fmt.Errorf("%q is not a currency code of three capitals", s)
			}
			return nil
		}},
}

// mostHeadingRow is the last row in which headings are looked for.
const mostHeadingRow = 20

func oneOf(s string, known ...string) error {
	if slices.Contains(known, s) {
		return nil
	}
	return fmt.Errorf("%q is not one of: %s", s, strings.Join(known, ", "))
}
