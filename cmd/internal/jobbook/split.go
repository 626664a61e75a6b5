package jobbook

import "bytes"

// maxRecord is the length in bytes beyond which a record is taken as broken:
// far above any row that a person typed (a spreadsheet's cell holds 32,767
// letters), and what bounds the search for the end of a quote that was never
// closed.
const maxRecord = 256 << 10

// splitter cuts a file into records by RFC 4180: cells parted by one byte, a
// cell with a quote at its start runs to the closing quote, a quote inside is
// doubled. It differs from encoding/csv where a quote is astray. There a quote
// that was never closed takes every row up to the next quote with it; here the
// broken record is one line, and reading goes on at the next.
type splitter struct {
	data []byte
	at   int
	sep  byte
	line int // physical line of the next record, from 1

	rowEnd byte // what ends a record of a sheet, in which nothing is quoted; else 0

	cells [][]byte // of the last record; stand in data or in scratch
	buf   []byte
}

// record is one record, valid until the next is read.
type record struct {
	line   int
	cells  [][]byte
	broken string // why the record can't be read, else empty
	lines  int    // physical lines that it takes
}

func newSplitter(data []byte, sep byte) *splitter {
	return &splitter{data: data, sep: sep, line: 1}
}

// next gives the next record. A blank line is a record with one empty cell.
func (s *splitter) next() (record, bool) {
	if s.at >= len(s.data) {
		return record{}, false
	}
	if s.rowEnd != 0 {
		return s.sheetRow(), true
	}
	line, end := s.lineAt(s.at)
	s.cells = s.cells[:0]
	rec := record{line: s.line, lines: 1}
	if bytes.IndexByte(line, '"') < 0 {
		s.plain(line)
	} else if to, lines, why := s.quoted(); why == "" {
		end, rec.lines = to, lines
	} else {
		rec.broken = why
		s.cells = s.cells[:0]
	}
	rec.cells = s.cells
	s.at = end
	s.line += rec.lines
	return rec, true
}

// sheetRow gives the next row of a sheet.
func (s *splitter) sheetRow() record {
	end := s.at + bytes.IndexByte(s.data[s.at:], s.rowEnd)
	s.cells = s.cells[:0]
	s.plain(s.data[s.at:end])
	rec := record{line: s.line, lines: 1, cells: s.cells}
	s.at = end + 1
	s.line++
	return rec
}

// oneLine goes back to the line after the first of rec, which turned out not
// to be one record.
func (s *splitter) oneLine(rec record, start int) {
	_, s.at = s.lineAt(start)
	s.line = rec.line + 1
}

// lineAt gives the line that begins at i without its end, and where the next
// line begins.
func (s *splitter) lineAt(i int) (line []byte, next int) {
	n := bytes.IndexByte(s.data[i:], '\n')
	if n < 0 {
		return bytes.TrimSuffix(s.data[i:], []byte{'\r'}), len(s.data)
	}
	return bytes.TrimSuffix(s.data[i:i+n], []byte{'\r'}), i + n + 1
}

// plain cuts a line that has no quote.
func (s *splitter) plain(line []byte) {
	for {
		i := bytes.IndexByte(line, s.sep)
		if i < 0 {
			s.cells = append(s.cells, line)
			return
		}
		s.cells = append(s.cells, line[:i])
		line = line[i+1:]
	}
}

// quoted cuts a record that has quotes, and tells where the next one begins and
// how many lines this one takes.
func (s *splitter) quoted() (next, lines int, why string) {
	s.buf = s.buf[:0]
	lines = 1
	for i := s.at; ; {
		if i < len(s.data) && s.data[i] == '"' {
			cell, to, more, why := s.quotedCell(i + 1)
			if why != "" {
				return 0, 0, why
			}
			s.cells = append(s.cells, cell)
			i, lines = to, lines+more
		} else {
			cell, to, why := s.bareCell(i)
			if why != "" {
				return 0, 0, why
			}
			s.cells = append(s.cells, cell)
			i = to
		}
		if i >= len(s.data) {
			return i, lines, ""
		}
		if s.data[i] != s.sep {
			return i + 1, lines, "" // a line end
		}
		i++
	}
}

// bareCell reads a cell without quotes, to the separator or line end behind it.
func (s *splitter) bareCell(from int) (cell []byte, end int, why string) {
	i := from
	for i < len(s.data) && s.data[i] != s.sep && s.data[i] != '\n' {
		if s.data[i] == '"' {
			return nil, 0, "a quote stands inside a cell that does not begin with one"
		}
		i++
	}
	cell = s.data[from:i]
	if i == len(s.data) || s.data[i] == '\n' {
		cell = bytes.TrimSuffix(cell, []byte{'\r'})
	}
	return cell, i, ""
}

// quotedCell reads a cell from behind its opening quote. Only a cell with a
// doubled quote in it has to be copied.
func (s *splitter) quotedCell(from int) (cell []byte, end, lines int, why string) {
	start, mark := from, len(s.buf)
	limit := min(len(s.data), s.at+maxRecord)
	for i := from; ; {
		n := -1
		if i < limit {
			n = bytes.IndexByte(s.data[i:limit], '"')
		}
		if n < 0 {
			return nil, 0, 0, "a quote is not closed"
		}
		i += n
		if i+1 < len(s.data) && s.data[i+1] == '"' {
			s.buf = append(s.buf, s.data[start:i+1]...)
			start, i = i+2, i+2
			continue
		}
		cell = s.data[start:i]
		if len(s.buf) > mark {
			s.buf = append(s.buf, cell...)
			cell = s.buf[mark:len(s.buf):len(s.buf)]
		}
		lines = bytes.Count(s.data[from:i], []byte{'\n'})
		end, ok := s.afterQuote(i + 1)
		if !ok {
			return nil, 0, 0, "text stands behind a closing quote"
		}
		return cell, end, lines, ""
	}
}

// afterQuote finds the separator or line end that has to follow a closing
// quote.
func (s *splitter) afterQuote(i int) (end int, ok bool) {
	switch {
	case i == len(s.data) || s.data[i] == s.sep || s.data[i] == '\n':
		return i, true
	case s.data[i] == '\r' && (i+1 == len(s.data) || s.data[i+1] == '\n'):
		return i + 1, true
	}
	return 0, false
}

// blank reports whether every cell of a record is empty.
func (r record) blank() bool {
	for _, c := range r.cells {
		if len(bytes.TrimSpace(c)) > 0 {
			return false
		}
	}
	return r.broken == ""
}
