package jobbook

// Samples gives, of each column, up to n different cells from the first rows
// behind the headings, so that a person sees what it holds. The mapping's sheet, or
// its encoding and separator, and its heading row must be set, as in one that was used
// or that came with an UnmappedError.
func (f *File) Samples(m Mapping, n int) [][]string {
	c, err := f.content(&m, Day{})
	if err != nil {
		return nil // Open said so
	}
	b := &Book{content: c}
	s := c.splitter(m.Separator)
	var columns [][]string
	for row := 1; row <= m.HeadingRow+sampledRows; row++ {
		rec, ok := s.next()
		if !ok {
			break
		}
		if row <= m.HeadingRow || rec.broken != "" {
			continue
		}
		for i, text := range b.texts(rec.cells) {
			if i >= mostColumns {
				break
			}
			if i == len(columns) {
				columns = append(columns, nil)
			}
			columns[i] = addSample(columns[i], text, n)
		}
	}
	return columns
}

// sampledRows is how many rows are looked at: a cell may be empty for long.
const sampledRows = 40

func addSample(have []string, text string, n int) []string {
	if text == "" || len(have) >= n {
		return have
	}
	for _, h := range have {
		if h == text {
			return have
		}
	}
	return append(have, text)
}
