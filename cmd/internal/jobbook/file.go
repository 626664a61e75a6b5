package jobbook

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"oldhand/cmd/internal/workbook"
)

// File is an old book as it was given, a table in text or a workbook, with what was
// read out of it once. It is used by one goroutine at a time.
type File struct {
	data  []byte
	book  *workbook.Book // nil for a text
	read  string         // the sheet that sheet holds
	sheet content
}

// Load opens a file. A text is not looked into before its encoding is settled.
func Load(data []byte) (*File, error) {
	f := &File{data: data}
	if !workbook.Is(data) {
		return f, nil
	}
	var err error
	if f.book, err = workbook.Open(data); err != nil {
		return nil, err
	}
	return f, nil
}

// SheetName is a sheet of a workbook. A hidden one is read only if it is named.
type SheetName struct {
	Name   string
	Hidden bool
}

// Sheets are the sheets of a workbook, none for a text.
func (f *File) Sheets() (list []SheetName) {
	if f.book == nil {
		return nil
	}
	for _, s := range f.book.Sheets {
		list = append(list, SheetName{s.Name, s.Hidden})
	}
	return list
}

// SheetsError is returned for a workbook of which several sheets could be meant. Which
// one is read, a person says in the mapping; each can be read in turn.
type SheetsError struct{ Sheets []string }

func (e *SheetsError) Error() string {
	return "several sheets of the workbook could be a job book, and one is read at a time; name the one that is meant: " + strings.Join(e.Sheets, ", ")
}

// content gives what the mapping means of the file, and settles in the mapping how it
// is read.
func (f *File) content(m *Mapping, asOf Day) (content, error) {
	if f.book == nil {
		c, err := decode(f.data, m.Encoding)
		if err != nil {
			return content{}, err
		}
		m.Encoding, m.Sheet = c.encoding, ""
		if m.Separator == 0 {
			m.Separator = guessSeparator(c.data)
		}
		return c, nil
	}
	m.Encoding, m.Separator = "", 0
	if m.Sheet == "" {
		name, err := f.guessSheet(*m, asOf)
		if err != nil {
			return content{}, err
		}
		m.Sheet = name
	}
	return f.contentOf(m.Sheet)
}

func (f *File) contentOf(name string) (content, error) {
	if f.read == name && f.sheet.isSheet {
		return f.sheet, nil
	}
	i := slices.IndexFunc(f.book.Sheets, func(s workbook.Sheet) bool { return s.Name == name })
	if i < 0 {
		return content{}, fmt.Errorf("sheet %q is not in the workbook; it has: %s", name, strings.Join(f.names(), ", "))
	}
	c, err := sheetContent(f.book, f.book.Sheets[i])
	if err != nil {
		return content{}, err
	}
	f.read, f.sheet = name, c
	return c, nil
}

func (f *File) names() (list []string) {
	for _, s := range f.book.Sheets {
		list = append(list, s.Name)
	}
	return list
}

// guessSheet gives the sheet that can only be meant: the one whose columns can be
// told, of those that are not hidden. Where none can be, it is the first that has
// anything in it, to be shown to a person.
func (f *File) guessSheet(m Mapping, asOf Day) (string, error) {
	var shown, books []string
	for _, s := range f.book.Sheets {
		if s.Hidden {
			continue
		}
		c, err := f.contentOf(s.Name)
		if err != nil {
			return "", err
		}
		if len(bytes.Trim(c.data, "\x1e")) == 0 {
			continue
		}
		shown = append(shown, s.Name)
		if f.isBook(s.Name, m, asOf) {
			books = append(books, s.Name)
		}
	}
	switch {
	case len(books) == 1:
		return books[0], nil
	case len(books) > 1:
		return "", &SheetsError{books}
	case len(shown) > 0:
		return shown[0], nil
	case len(f.book.Sheets) > 1:
		return "", fmt.Errorf("no sheet has anything in it, but for those that are hidden: %s; to read one, name it", strings.Join(f.names(), ", "))
	}
	return "", ErrEmpty
}

// isBook reports whether the columns of a sheet can be told. Only its headings are
// looked at.
func (f *File) isBook(name string, m Mapping, asOf Day) bool {
	m.Sheet = name
	m.Readings = slices.Clone(m.Readings)
	_, err := f.lookAt(Options{AsOf: asOf, Mapping: m})
	return err == nil
}

// lookAt settles the columns of a book, which is not read yet.
func (f *File) lookAt(opt Options) (*Book, error) {
	m := opt.Mapping
	c, err := f.content(&m, opt.AsOf)
	if err != nil {
		return nil, err
	}
	b := &Book{content: c, asOf: opt.AsOf}
	head := b.findHeading(&m)
	if len(head) > mostColumns {
		return nil, fmt.Errorf("row %d, which holds the headings, has %d columns; more than %d are no job book", m.HeadingRow, len(head), mostColumns)
	}
	b.Headings = nameColumns(head)
	if b.cols, err = assign(&m, b.Headings); err != nil {
		return nil, err
	}
	b.Unused = b.cols.unused(b.Headings)
	m.unused = b.Unused
	if why := b.cols.lacking(); why != "" {
		return nil, &UnmappedError{Mapping: m, Headings: b.Headings, Why: why}
	}
	b.Mapping = m
	return b, nil
}

// Open looks a book over, as the function of this name does.
func (f *File) Open(opt Options) (*Book, error) {
	if !opt.AsOf.valid() {
		return nil, errors.New("open job book: no day is given after which no date may lie")
	}
	b, err := f.lookAt(opt)
	if err != nil {
		return nil, fmt.Errorf("open job book: %w", err)
	}
	b.survey()
	return b, nil
}
