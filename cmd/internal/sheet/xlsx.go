package sheet

import (
	"archive/zip"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"

	"oldhand/projections"

	"github.com/xuri/excelize/v2"
)

// XLSX writes an answer as a workbook: a sheet with its tables, and where it
// has curves a second one, "curve".
func XLSX(w io.Writer, r *projections.Result) error {
	if err := writeBook(w, r); err != nil {
		return fmt.Errorf("write xlsx: %w", err)
	}
	return nil
}

func writeBook(w io.Writer, r *projections.Result) error {
	lines, headings, err := layOut(r)
	if err != nil {
		return err
	}
	steps, err := curvesOf(r.Rows)
	if err != nil {
		return err
	}
	f := excelize.NewFile()
	defer f.Close()
	if err := dated(f, r); err != nil {
		return err
	}
	name := sheetName(r.Question)
	if err := f.SetSheetName(f.GetSheetName(0), name); err != nil {
		return fmt.Errorf("name its sheet %q: %w", name, err)
	}
	if err := fill(f, name, lines, headings); err != nil {
		return err
	}
	if len(steps) > 0 {
		if _, err := f.NewSheet(curveSheet); err != nil {
			return err
		}
		heading := make([]cell, len(curveHeading))
		for i, h := range curveHeading {
			heading[i] = word(h)
		}
		if err := fill(f, curveSheet, append([][]cell{heading}, steps...), map[int]bool{0: true}); err != nil {
			return err
		}
	}
	return packed(w, f)
}

const (
	curveSheet = "curve"
	answerName = "answer"
)

// sheetName is a question as the name of a sheet: at most 31 characters, none
// of : \ / ? * [ ], no apostrophe at its ends (Excel's limits), and not the
// name of the other sheet.
func sheetName(question string) string {
	name := strings.Map(func(r rune) rune {
		if strings.ContainsRune(`:\/?*[]'`, r) || r < ' ' {
			return ' '
		}
		return r
	}, question)
	if units := utf16.Encode([]rune(name)); len(units) > 31 {
		name = strings.TrimRight(string(utf16.Decode(units[:31])), "\ufffd")
	}
	name = strings.TrimSpace(name)
	if name == "" || strings.EqualFold(name, curveSheet) {
		return answerName
	}
	return name
}

// dated gives the workbook the day of its answer for its times. That it was
// written at some minute is nobody's business, and would change the bytes.
func dated(f *excelize.File, r *projections.Result) error {
	day, err := time.Parse(time.DateOnly, r.AsOf)
	if err != nil {
		return fmt.Errorf("its day is %q, want a date as 2006-01-02", r.AsOf)
	}
	at := day.Format("2006-01-02T15:04:05Z")
	return f.SetDocProps(&excelize.DocProperties{Title: r.Question, Creator: "oldhand", LastModifiedBy: "oldhand", Created: at, Modified: at})
}

// fill streams lines into a sheet. The first line is frozen: every sheet
// begins with a heading, or has nothing to scroll.
func fill(f *excelize.File, name string, lines [][]cell, headings map[int]bool) error {
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	out, err := f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	// From the last to the first: the library writes them the other way round,
	// and columns in falling order are an odd file.
	for i, width := range slices.Backward(widths(lines)) {
		if err := out.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
	}
	if headings[0] {
		if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
			return err
		}
	}
	for i, line := range lines {
		if err := putLine(out, i, line, headings[i], bold); err != nil {
			return fmt.Errorf("sheet %s, line %d: %w", name, i+1, err)
		}
	}
	return out.Flush()
}

func putLine(out *excelize.StreamWriter, i int, line []cell, heading bool, bold int) error {
	values := make([]any, len(line))
	for j, c := range line {
		v, err := valueOf(c)
		if err != nil {
			return fmt.Errorf("column %d: %w", j+1, err)
		}
		values[j] = v
		if heading {
			values[j] = excelize.Cell{StyleID: bold, Value: v}
		}
	}
	at, err := excelize.CoordinatesToCellName(1, i+1)
	if err != nil {
		return err
	}
	return out.SetRow(at, values)
}

// valueOf is a cell as the workbook keeps it. A whole number too long for a
// spreadsheet's arithmetic stays text, or its last figures would turn to zeros. A text
// too long for a cell is cut: no form takes one, but another bench may have, and all
// other rows are wanted.
func valueOf(c cell) (any, error) {
	if !c.number {
		if c.text == "" {
			return nil, nil
		}
		return fitting(c.text), nil
	}
	if !strings.ContainsAny(c.text, ".eE") {
		i, err := strconv.ParseInt(c.text, 10, 64)
		if err != nil || !exactly(i) {
			return c.text, nil
		}
		return i, nil
	}
	v, err := strconv.ParseFloat(c.text, 64)
	if err != nil {
		return nil, fmt.Errorf("number %s: %w", c.text, err)
	}
	return v, nil
}

// fitting is as much of a text as goes into a cell, with an ellipsis where it was cut.
func fitting(text string) string {
	units := utf16.Encode([]rune(text))
	if len(units) <= excelize.TotalCellChars {
		return text
	}
	cut := utf16.Decode(units[:excelize.TotalCellChars-1])
	return strings.TrimSuffix(string(cut), "\ufffd") + "…" // half of a pair is left of a sign that was cut through
}

// exactly reports whether a whole number has at most the 15 figures that
// spreadsheets keep.
func exactly(i int64) bool { return i > -1e15 && i < 1e15 }

// widths are the columns' widths in characters, from what they hold. A long
// text, such as the method, must not make its column as wide as a screen.
func widths(lines [][]cell) (out []float64) {
	const least, most = 8, 34
	for _, line := range lines {
		for i, c := range line {
			if i == len(out) {
				out = append(out, least)
			}
			n := len([]rune(c.text))
			if c.number {
				n = min(n, 10) // shown to as many places as fit
			}
			out[i] = min(most, max(out[i], float64(n)+2))
		}
	}
	return out
}

// packed writes the workbook with its parts in one order. The library writes
// streamed sheets in the order of a map, so that two sheets would come now
// this way round and now that.
func packed(w io.Writer, f *excelize.File) error {
	raw, err := f.WriteToBuffer()
	if err != nil {
		return err
	}
	book, err := zip.NewReader(bytes.NewReader(raw.Bytes()), int64(raw.Len()))
	if err != nil {
		return err
	}
	parts := slices.SortedFunc(slices.Values(book.File), func(a, b *zip.File) int { return cmp.Compare(a.Name, b.Name) })
	out := zip.NewWriter(w)
	for _, part := range parts {
		if err := copyPart(out, part); err != nil {
			return fmt.Errorf("part %s: %w", part.Name, err)
		}
	}
	return out.Close()
}

// earliest is the first time that a zip file can say.
var earliest = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

func copyPart(out *zip.Writer, part *zip.File) error {
	from, err := part.Open()
	if err != nil {
		return err
	}
	defer from.Close()
	to, err := out.CreateHeader(&zip.FileHeader{Name: part.Name, Method: zip.Deflate, Modified: earliest})
	if err != nil {
		return err
	}
	_, err = io.Copy(to, from)
	return err
}
