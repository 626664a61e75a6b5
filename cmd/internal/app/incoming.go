package app

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"oldhand/cmd/internal/jobbook"
)

// FileKind is what a file to be read in is.
type FileKind string

// The kinds of file.
const (
	OldBook    FileKind = "old job book"
	RepairData FileKind = "open repair data"
	Export     FileKind = "export of this program"
)

// Incoming is a file that is read in step by step: looked at, tried, taken.
type Incoming struct {
	Kind    FileKind
	Data    []byte
	Book    *jobbook.Book // of an old book whose columns can be told
	Mapping jobbook.Mapping
	Lacks   *jobbook.UnmappedError // what an old book's mapping still has to say
	Sheets  []jobbook.SheetName    // of a workbook
	file    *jobbook.File
	asOf    jobbook.Day
	ords    *jobbook.StandardBook
}

// LookAt opens a file and tells what it is. A book whose columns can't be told is
// given with what it lacks.
func (s *Shop) LookAt(data []byte) (*Incoming, error) {
	r := &Incoming{Data: data, asOf: jobbook.DayOf(s.now())}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, &Wrong{"the file", "is empty"}
	}
	if IsExport(data[:min(len(data), 1<<16)]) {
		r.Kind = Export
		return r, nil
	}
	if b, err := jobbook.OpenORDS(data); err == nil {
		r.Kind, r.ords = RepairData, b
		return r, nil
	}
	r.Kind = OldBook
	var err error
	if r.file, err = jobbook.Load(data); err != nil {
		return nil, &Wrong{"the file", err.Error()}
	}
	r.Sheets = r.file.Sheets()
	return r, r.reopen(jobbook.Mapping{})
}

// SheetNames are the sheets of a workbook as a person is shown them, by their names.
func (r *Incoming) SheetNames() (names, shown []string) {
	for _, s := range r.Sheets {
		names, shown = append(names, s.Name), append(shown, s.Name)
		if s.Hidden {
			shown[len(shown)-1] += " (hidden)"
		}
	}
	return names, shown
}

// Remap reads the book by a mapping, in the text that a mapping is kept as.
func (r *Incoming) Remap(text string) error {
	m, err := jobbook.ReadMapping(strings.NewReader(text))
	if err != nil {
		return &Wrong{"the mapping", err.Error()}
	}
	return r.reopen(m)
}

func (r *Incoming) reopen(m jobbook.Mapping) error {
	b, err := r.file.Open(jobbook.Options{AsOf: r.asOf, Mapping: m})
	var several *jobbook.SheetsError
	if errors.As(err, &several) { // it is only looked at so far, and the others are offered
		m.Sheet = several.Sheets[0]
		b, err = r.file.Open(jobbook.Options{AsOf: r.asOf, Mapping: m})
	}
	var lacks *jobbook.UnmappedError
	switch {
	case errors.As(err, &lacks):
		r.Book, r.Lacks, r.Mapping = nil, lacks, lacks.Mapping
		return nil
	case err != nil:
		return &Wrong{"the file", err.Error()}
	}
	r.Book, r.Lacks, r.Mapping = b, nil, b.Mapping
	return nil
}

// Headings are the headings of the columns, in the file's order.
func (r *Incoming) Headings() []string {
	switch {
	case r.Lacks != nil:
		return r.Lacks.Headings
	case r.Book != nil:
		return r.Book.Headings
	}
	return nil
}

// Rows is about how many rows there are: a cell may hold several lines.
func (r *Incoming) Rows() int {
	if r.Book != nil {
		return r.Book.Records()
	}
	return bytes.Count(r.Data, []byte("\n"))
}

// ReadIn takes the file in, or does all but write.
func (s *Shop) ReadIn(r *Incoming, o ImportOptions) (Imported, error) {
	switch {
	case r.Kind == RepairData:
		return s.ImportORDS(r.Data, r.ords, o)
	case r.Book != nil:
		return s.ImportBook(r.Data, r.Book, o)
	case r.Lacks != nil:
		return Imported{}, &Wrong{"the mapping", r.Lacks.Why}
	}
	return Imported{}, &Wrong{"the file", "is an " + string(r.Kind) + ", which is taken whole"}
}

// TakeExport takes an export in. It is checked whole before anything is taken.
func (s *Shop) TakeExport(r *Incoming, progress func(int)) (res ReadIn, err error) {
	f, err := os.CreateTemp(s.Dir, "reading-*")
	if err != nil {
		return res, fmt.Errorf("put the file down to read it: %w", err)
	}
	defer func() { err = errors.Join(err, os.Remove(f.Name())) }()
	_, err = f.Write(r.Data)
	if err = errors.Join(err, f.Close()); err != nil {
		return res, fmt.Errorf("put the file down to read it: %w", err)
	}
	return s.ReadExport(f.Name(), progress)
}

// SweepReadings takes away what a reading that was killed left in the folder.
func (s *Shop) SweepReadings() error {
	left, err := filepath.Glob(filepath.Join(s.Dir, "reading-*"))
	for _, path := range left {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// Samples are some cells of each column of an old book.
func (r *Incoming) Samples(n int) [][]string { return r.file.Samples(r.Mapping, n) }
