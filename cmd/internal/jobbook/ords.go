package jobbook

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"

	"oldhand/events/trade"
)

// Standard is one row of the Open Repair Data Standard, version 0.3, each cell
// exactly as it stands in the file, so that the row can be written back equal.
type Standard struct {
	ID, DataProvider, Country            string
	PartnerProductCategory               string
	ProductCategory, ProductCategoryID   string
	Brand, YearOfManufacture, ProductAge string
	RepairStatus                         string // Fixed, Repairable, End of life or Unknown
	RepairBarrier                        string
	GroupIdentifier, EventDate, Problem  string
}

// standardColumns are the standard's columns in its order.
var standardColumns = []struct {
	name string
	cell func(*Standard) *string
}{
	{"id", func(s *Standard) *string { return &s.ID }},
	{"data_provider", func(s *Standard) *string { return &s.DataProvider }},
	{"country", func(s *Standard) *string { return &s.Country }},
	{"partner_product_category", func(s *Standard) *string { return &s.PartnerProductCategory }},
	{"product_category", func(s *Standard) *string { return &s.ProductCategory }},
	{"product_category_id", func(s *Standard) *string { return &s.ProductCategoryID }},
	{"brand", func(s *Standard) *string { return &s.Brand }},
	{"year_of_manufacture", func(s *Standard) *string { return &s.YearOfManufacture }},
	{"product_age", func(s *Standard) *string { return &s.ProductAge }},
	{"repair_status", func(s *Standard) *string { return &s.RepairStatus }},
	{"repair_barrier_if_end_of_life", func(s *Standard) *string { return &s.RepairBarrier }},
	{"group_identifier", func(s *Standard) *string { return &s.GroupIdentifier }},
	{"event_date", func(s *Standard) *string { return &s.EventDate }},
	{"problem", func(s *Standard) *string { return &s.Problem }},
}

// standardOutcomes gives trade's outcome for each repair status. A set that
// can still be repaired and one that is given up both went home as they came.
var standardOutcomes = map[string]string{
	"Fixed": "repaired", "Repairable": "returned-unrepaired", "End of life": "returned-unrepaired", "Unknown": "unknown",
}

// StandardRow is a row of the standard and what a book's reader makes of it: a
// visit of one day, with the id as its job number, since that and no serial is
// what identifies it.
type StandardRow struct {
	Row
	Standard Standard
}

// StandardBook is a file in the Open Repair Data Standard, ready to be read.
type StandardBook struct {
	Unused []string // columns that are not the standard's, which writing back loses

	content content
	columns []int // by place in standardColumns, -1 for one the file lacks
	width   int
}

// OpenORDS looks over a file in the Open Repair Data Standard. Columns are
// found by name, in any order.
func OpenORDS(data []byte) (*StandardBook, error) {
	c, err := decode(data, "")
	if err != nil {
		return nil, fmt.Errorf("open repair data: %w", err)
	}
	head, ok := newSplitter(c.data, ',').next()
	if !ok || head.broken != "" {
		return nil, errors.New("open repair data: the first row, which names the columns, can't be read")
	}
	b := &StandardBook{content: c, width: len(head.cells)}
	names := make([]string, len(head.cells))
	for i, cell := range head.cells {
		names[i] = string(bytes.TrimSpace(cell))
	}
	for _, col := range standardColumns {
		i := slices.Index(names, col.name)
		if i < 0 && (col.name == "id" || col.name == "event_date" || col.name == "repair_status") {
			return nil, fmt.Errorf("open repair data: there is no column %s; the columns are: %s", col.name, strings.Join(names, ", "))
		}
		b.columns = append(b.columns, i)
	}
	for i, name := range names {
		if !slices.Contains(b.columns, i) {
			b.Unused = append(b.Unused, name)
		}
	}
	return b, nil
}

// Rows reads the file, as Book.Rows does.
func (b *StandardBook) Rows() iter.Seq2[StandardRow, *Refused] {
	return func(yield func(StandardRow, *Refused) bool) {
		s := newSplitter(b.content.data, ',')
		seen := map[string]int{}
		s.next() // the names of the columns
		for n := 2; ; n++ {
			start := s.at
			rec, ok := s.next()
			if !ok {
				return
			}
			if rec.lines > 1 && len(rec.cells) != b.width {
				s.oneLine(rec, start)
				rec = record{line: rec.line, lines: 1, broken: "a quote is not closed"}
			}
			if rec.blank() {
				continue
			}
			row, why := b.read(n, rec)
			if why != "" {
				if !yield(StandardRow{}, &Refused{Row: n, Line: rec.line, Job: row.Standard.ID, Why: why}) {
					return
				}
				continue
			}
			if row.Repeats = seen[row.Standard.ID]; row.Repeats == 0 {
				seen[row.Standard.ID] = n
			}
			if !yield(row, nil) {
				return
			}
		}
	}
}

func (b *StandardBook) read(n int, rec record) (row StandardRow, why string) {
	if rec.broken != "" {
		return row, rec.broken
	}
	if len(rec.cells) != b.width {
		return row, fmt.Sprintf("has %d cells where the heading has %d", len(rec.cells), b.width)
	}
	var key []byte
	for i, col := range standardColumns {
		if b.columns[i] < 0 {
			continue
		}
		cell := string(b.content.appendLetters(nil, rec.cells[b.columns[i]]))
		*col.cell(&row.Standard) = cell
		if cell != "" {
			key = appendSized(appendSized(key, col.name), cell)
		}
	}
	row.Number, row.Line, row.Key = n, rec.line, keyOf(key)
	return row, row.visit()
}

// visit fills the row from the standard's cells, and says why it is refused.
func (r *StandardRow) visit() string {
	s := &r.Standard
	if r.Job = strings.TrimSpace(s.ID); r.Job == "" {
		return "id is missing"
	}
	if strings.TrimSpace(s.EventDate) == "" {
		return "event_date is missing"
	}
	day, ok := isoDay(strings.TrimSpace(s.EventDate))
	if !ok {
		return "event_date cannot be read: " + s.EventDate
	}
	r.Received, r.Shipped = day, day
	r.Maker = strings.TrimSpace(s.Brand)
	r.Country = strings.TrimSpace(s.Country)
	r.Kind = strings.TrimSpace(s.ProductCategory)
	r.KindID = trade.ReadSet(r.Kind)
	r.Complaint = strings.TrimSpace(s.Problem)
	r.Outcome = s.RepairStatus
	if r.OutcomeID, ok = standardOutcomes[s.RepairStatus]; !ok {
		r.warn("repair_status is not one of the standard's: " + s.RepairStatus)
	}
	var why string
	r.YearText = strings.TrimSpace(s.YearOfManufacture)
	r.YearFrom, r.YearTo, why = yearMade(r.YearText, day.Year)
	r.warn(why)
	return ""
}

// isoDay reads the only spelling that the standard allows.
func isoDay(s string) (Day, bool) {
	n, ok := numbersOf(s)
	d := Day{n.a, n.b, n.c}
	return d, ok && n.yearFirst && d.valid() && d.String() == s
}

// WriteORDS writes rows in the Open Repair Data Standard: its header, then the
// cells as they are. No quote mark is put before cells that begin as a formula
// does: this file is for other programs, to which the mark would be a letter.
func WriteORDS(w io.Writer, rows iter.Seq[Standard]) error {
	out := csv.NewWriter(w)
	cells := make([]string, len(standardColumns))
	for i, col := range standardColumns {
		cells[i] = col.name
	}
	if err := out.Write(cells); err != nil {
		return fmt.Errorf("write repair data: %w", err)
	}
	for row := range rows {
		for i, col := range standardColumns {
			cells[i] = *col.cell(&row)
		}
		if err := out.Write(cells); err != nil {
			return fmt.Errorf("write repair data %s: %w", row.ID, err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write repair data: %w", err)
	}
	return nil
}

// Cells gives the row's cells by the names of their columns.
func (s Standard) Cells() iter.Seq2[string, string] {
	return func(yield func(string, string) bool) {
		for _, col := range standardColumns {
			if !yield(col.name, *col.cell(&s)) {
				return
			}
		}
	}
}

// SetCell sets a cell by the name of its column; a name that is not the
// standard's is passed over.
func (s *Standard) SetCell(name, text string) {
	for _, col := range standardColumns {
		if col.name == name {
			*col.cell(s) = text
		}
	}
}
