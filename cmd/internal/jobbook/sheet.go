package jobbook

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"

	"oldhand/cmd/internal/workbook"
)

// A sheet is kept as text in which two signs end cells and rows that no cell can hold,
// so that what follows reads it as it reads a file: there are no quotes to be astray,
// and a cell may have as many lines as it likes.
const (
	cellEnd = 0x1F
	rowEnd  = 0x1E
)

// sheetRows are the rows of a sheet that are not plain cells.
type sheetRows struct {
	broken  map[int]string // why a row can't be taken
	remarks map[int]string
	merged  []rowSpan // rows that share cells, in order and apart from each other
}

type rowSpan struct{ first, last int }

// sheetContent reads a sheet. The first rows are put down last, since the areas that
// make headings of two rows one stand behind all rows.
func sheetContent(wb *workbook.Book, s workbook.Sheet) (content, error) {
	c := content{isSheet: true, checked: true, from1904: wb.From1904, rows: sheetRows{broken: map[int]string{}, remarks: map[int]string{}}}
	var head [mostHeadingRow][]string
	var rest []byte
	last := mostHeadingRow
	merged, err := wb.Read(s, func(r workbook.Row) error {
		c.rows.add(r)
		if r.Number <= mostHeadingRow {
			head[r.Number-1] = slices.Clone(r.Cells)
			return nil
		}
		for ; last < r.Number-1; last++ {
			rest = append(rest, rowEnd)
		}
		rest, last = appendRow(rest, r.Cells), r.Number
		return nil
	})
	if err != nil {
		return content{}, err
	}
	for _, m := range merged {
		lower(&head, m)
	}
	for _, cells := range head {
		c.data = appendRow(c.data, cells)
	}
	c.data = append(c.data, rest...)
	c.lossy = bytes.Contains(c.data, []byte("\uFFFD"))
	c.rows.share(merged, c.data)
	return c, nil
}

func (s *sheetRows) add(r workbook.Row) {
	if r.Broken != "" {
		s.broken[r.Number] = r.Broken
	}
	if r.Remark != "" {
		s.remarks[r.Number] = r.Remark
	}
}

func appendRow(to []byte, cells []string) []byte {
	for i, cell := range cells {
		if i > 0 {
			to = append(to, cellEnd)
		}
		to = append(to, cell...)
	}
	return append(to, rowEnd)
}

// lower puts what stands in an area of the first rows into the last row of it: where
// some headings go over two rows, the lower one has them all.
func lower(head *[mostHeadingRow][]string, m workbook.Merged) {
	if m.LastRow > mostHeadingRow {
		return
	}
	from, to := head[m.FirstRow-1], head[m.LastRow-1]
	if m.Column >= len(from) || from[m.Column] == "" {
		return
	}
	for len(to) <= m.Column {
		to = append(to, "")
	}
	to[m.Column], from[m.Column] = from[m.Column], ""
	head[m.LastRow-1] = to
}

// share notes which rows share cells with others. What an area holds may be meant for
// all its rows or for one, and a charge counted twice is as wrong as one left out. Where
// all but one of its rows are blank, it is that one's.
func (s *sheetRows) share(merged []workbook.Merged, data []byte) {
	if len(merged) == 0 {
		return
	}
	filled := filledRows(data)
	for _, m := range merged {
		if countFilled(filled, m.FirstRow, m.LastRow) > 1 {
			s.merged = append(s.merged, rowSpan{m.FirstRow, m.LastRow})
		}
	}
	slices.SortFunc(s.merged, func(a, b rowSpan) int { return cmp.Compare(a.first, b.first) })
	apart := s.merged[:0]
	for _, m := range s.merged {
		if n := len(apart); n > 0 && m.first <= apart[n-1].last {
			apart[n-1].last = max(apart[n-1].last, m.last)
			continue
		}
		apart = append(apart, m)
	}
	s.merged = apart
}

// filledRows counts, for each row, how many rows up to it have something in them.
func filledRows(data []byte) []int32 {
	sums := []int32{0}
	s := newSplitter(data, cellEnd)
	s.rowEnd = rowEnd
	for {
		rec, ok := s.next()
		if !ok {
			return sums
		}
		n := sums[len(sums)-1]
		if !rec.blank() {
			n++
		}
		sums = append(sums, n)
	}
}

func countFilled(sums []int32, first, last int) int {
	at := func(row int) int32 { return sums[max(0, min(row, len(sums)-1))] }
	return int(at(last) - at(first-1))
}

// why says why a row can't be taken, empty where it can.
func (s *sheetRows) why(row int) string {
	if why := s.broken[row]; why != "" {
		return why
	}
	i, _ := slices.BinarySearchFunc(s.merged, row, func(m rowSpan, row int) int { return cmp.Compare(m.last, row) })
	if i < len(s.merged) && s.merged[i].first <= row {
		m := s.merged[i]
		return fmt.Sprintf("rows %d to %d share cells that are merged: part them in the workbook, so that each row says what is its own", m.first, m.last)
	}
	return ""
}

// doubt says of a sheet whose dates may have been turned round as they were typed. A
// spreadsheet of a place that writes the month first takes 3/4/97 and leaves 21/4/97 as
// text: what it took has days up to twelve only, and what it left proves the other
// order. Common practice, no source.
func (e Evidence) doubt() string {
	const enough = 5
	texts := e.MonthFirst + e.DayFirst
	if e.early < enough || e.late > 0 || e.Either > 0 || texts < enough || e.Order() == OrderUnknown {
		return ""
	}
	return fmt.Sprintf("all %d real dates lie in the first twelve days of a month, and %d others stayed text (%s): "+
		"day and month of the real ones may have been turned round as they were typed; look at the first rows before you take them", e.early, texts, strings.ToLower(string(e.Order())))
}
