package workbook

import (
	"encoding/xml"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// The size of the largest sheet that a spreadsheet has.
const (
	MostRows    = 1_048_576
	mostColumns = 16_384
	mostMerged  = 1 << 16
)

// Row is a row with something in it. It is the reader's until the next.
type Row struct {
	Number int      // as the sheet counts, from 1
	Cells  []string // by column
	Broken string   // why the row can't be taken as it stands, else empty
	Remark string   // what a person should know of it, else empty
}

// Merged is an area of cells that are one, over more than one row: what it holds
// stands in the first row.
type Merged struct{ FirstRow, LastRow, Column int }

// Read gives the rows of a sheet to each, and then the areas that go over several
// rows. It is either whole or an error.
func (b *Book) Read(s Sheet, each func(Row) error) ([]Merged, error) {
	r := sheetReader{book: b, each: each}
	if err := b.walk(s.part, r.element); err != nil {
		return nil, fmt.Errorf("sheet %s: %w", s.Name, err)
	}
	if !r.data {
		return nil, fmt.Errorf("sheet %s: it has no cells in it", s.Name)
	}
	return r.merged, nil
}

type sheetReader struct {
	book   *Book
	each   func(Row) error
	row    Row
	last   int // the number of the row before
	size   int // bytes of text so far
	data   bool
	merged []Merged
}

func (r *sheetReader) element(t *tokens, el xml.StartElement) error {
	switch el.Name.Local {
	case "sheetData":
		r.data = true
		return t.within(func(el xml.StartElement) error {
			if el.Name.Local != "row" {
				return t.skip()
			}
			return r.readRow(t, el)
		})
	case "mergeCell":
		return r.addMerged(attr(el, "ref"))
	}
	return nil
}

func (r *sheetReader) readRow(t *tokens, el xml.StartElement) error {
	n := r.last + 1
	if said := attr(el, "r"); said != "" {
		var err error
		if n, err = strconv.Atoi(said); err != nil || n <= r.last {
			return fmt.Errorf("row %q stands behind row %d", said, r.last)
		}
	}
	if n > MostRows {
		return fmt.Errorf("row %d is beyond the last that a sheet has", n)
	}
	r.last = n
	r.row = Row{Number: n, Cells: r.row.Cells[:0]}
	err := t.within(func(el xml.StartElement) error {
		if el.Name.Local != "c" {
			return t.skip()
		}
		return r.readCell(t, el)
	})
	if err != nil {
		return fmt.Errorf("row %d: %w", n, err)
	}
	if r.row.Broken == "" && isEmpty(r.row.Cells) {
		return nil
	}
	return r.each(r.row)
}

func isEmpty(cells []string) bool {
	for _, c := range cells {
		if strings.TrimSpace(c) != "" {
			return false
		}
	}
	return true
}

// readCell reads a cell (18.3.1.4) into its place.
func (r *sheetReader) readCell(t *tokens, el xml.StartElement) error {
	at := len(r.row.Cells)
	if ref := attr(el, "r"); ref != "" {
		col, row, err := place(ref)
		if err != nil {
			return err
		}
		if row != r.row.Number || col < at {
			return fmt.Errorf("cell %s is out of its place", ref)
		}
		at = col
	}
	if at >= mostColumns {
		return fmt.Errorf("there are more than %d columns", mostColumns)
	}
	text, err := r.cellText(t, el, at)
	if err != nil {
		return fmt.Errorf("column %s: %w", letters(at), err)
	}
	if text == "" {
		return nil
	}
	if r.size += len(text) + at - len(r.row.Cells); r.size > mostText {
		return errTooMuchText
	}
	for len(r.row.Cells) < at {
		r.row.Cells = append(r.row.Cells, "")
	}
	r.row.Cells = append(r.row.Cells, text)
	return nil
}

// cellText is what a cell shows.
func (r *sheetReader) cellText(t *tokens, el xml.StartElement, at int) (string, error) {
	var kept []byte
	var inline string
	formula, hasKept := false, false
	err := t.within(func(in xml.StartElement) (err error) {
		switch in.Name.Local {
		case "v":
			hasKept = true
			kept, err = t.text(kept[:0])
		case "is":
			inline, err = t.richText()
		case "f":
			formula = true
			err = t.skip()
		default:
			err = t.skip()
		}
		return err
	})
	if err != nil {
		return "", err
	}
	if formula && !hasKept && attr(el, "t") != "str" {
		r.row.Broken = fmt.Sprintf("the formula in column %s has no value kept with it: open the workbook in a spreadsheet and save it once", letters(at))
		return "", nil
	}
	return r.valueOf(attr(el, "t"), orZero(attr(el, "s")), string(kept), inline)
}

// valueOf reads what was kept in a cell by its type (18.18.11).
func (r *sheetReader) valueOf(kind, style, kept, inline string) (string, error) {
	switch kind {
	case "s":
		if strings.TrimSpace(kept) == "" {
			return "", nil
		}
		i, err := strconv.Atoi(strings.TrimSpace(kept))
		if err != nil || i < 0 || i >= len(r.book.texts) {
			return "", fmt.Errorf("text %s is not in the workbook's table of texts", kept)
		}
		return r.book.texts[i], nil
	case "inlineStr":
		return inline, nil
	case "str", "e":
		return unescaped(kept), nil
	case "b":
		return map[string]string{"0": "FALSE", "1": "TRUE"}[strings.TrimSpace(kept)], nil
	case "d": // ISO 8601
		return strings.TrimSuffix(strings.TrimSpace(kept), "T00:00:00"), nil
	case "", "n":
		return r.numberOf(strings.TrimSpace(kept), style)
	}
	return "", fmt.Errorf("it is of type %q, which is not known", kind)
}

func (r *sheetReader) numberOf(kept, style string) (string, error) {
	if kept == "" {
		return "", nil
	}
	s, err := strconv.Atoi(style)
	if err != nil {
		return "", fmt.Errorf("its format is %q", style)
	}
	text, rounded, err := r.book.number(kept, s)
	if rounded {
		r.row.Remark = "has a number of more than fifteen figures, of which a spreadsheet keeps fifteen: " + text
	}
	return text, err
}

// place reads a cell's name, as C12, into column and row, the first column being 0.
func place(ref string) (col, row int, err error) {
	i := 0
	for ; i < len(ref) && i < 4 && ref[i] >= 'A' && ref[i] <= 'Z'; i++ {
		col = col*26 + int(ref[i]-'A') + 1
	}
	row, err = strconv.Atoi(ref[i:])
	if err != nil || i == 0 || col > mostColumns || row < 1 || row > MostRows {
		return 0, 0, fmt.Errorf("%q is not the name of a cell", ref)
	}
	return col - 1, row, nil
}

// letters are those of a column: A, Z, AA.
func letters(col int) string {
	s := ""
	for n := col + 1; n > 0; n = (n - 1) / 26 {
		s = string(rune('A'+(n-1)%26)) + s
	}
	return s
}

func (r *sheetReader) addMerged(ref string) error {
	from, to, ok := strings.Cut(ref, ":")
	if !ok {
		return nil // one cell
	}
	col, first, err := place(from)
	if err != nil {
		return err
	}
	_, last, err := place(to)
	if err != nil {
		return err
	}
	if last <= first {
		return nil
	}
	if len(r.merged) == mostMerged {
		return errors.New("there are more merged cells than a person makes")
	}
	r.merged = append(r.merged, Merged{first, last, col})
	return nil
}
