package workbook

import (
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// format is what is to be done with a number to see it as the sheet shows it.
type format struct {
	date, hours bool
	code        string // of a number that is shown in a form of its own, else empty
}

// formats are those of the cells, by the number that a cell names, and the hand that
// shows a number by its code.
type formats struct {
	of    []format
	page  *excelize.File
	cells map[string]string // by code: the cell of page that has it
}

// mostFormats is how many formats a workbook may have, which is also about what a
// spreadsheet takes.
const mostFormats = 1 << 16

// readFormats reads the formats (18.8.31 and 18.8.10).
func (b *Book) readFormats(part string) error {
	codes := map[int]string{}
	return b.walk(part, func(t *tokens, el xml.StartElement) error {
		switch el.Name.Local {
		case "numFmt":
			if n, err := strconv.Atoi(attr(el, "numFmtId")); err == nil && len(codes) < mostFormats {
				codes[n] = attr(el, "formatCode")
			}
		case "cellXfs":
			return t.within(func(xf xml.StartElement) error {
				if xf.Name.Local != "xf" {
					return nil
				}
				if len(b.formats.of) == mostFormats {
					return fmt.Errorf("there are more than %d formats", mostFormats)
				}
				n, err := strconv.Atoi(orZero(attr(xf, "numFmtId")))
				if err != nil {
					return fmt.Errorf("a format's number is %q", attr(xf, "numFmtId"))
				}
				b.formats.of = append(b.formats.of, formatOf(n, codes))
				return nil
			})
		}
		return nil
	})
}

func orZero(s string) string {
	if s == "" {
		return "0"
	}
	return s
}

// builtIn are the formats that a workbook does not write down (18.8.30). Money of
// the place where the sheet is opened (5 to 8, 41 to 44) has no sign here, since the
// workbook does not say which.
var builtIn = map[int]string{
	1: "0", 2: "0.00", 3: "0", 4: "0.00", 5: "0", 6: "0", 7: "0.00", 8: "0.00", 9: "0%", 10: "0.00%",
	37: "0", 38: "0", 39: "0.00", 40: "0.00", 41: "0", 42: "0", 43: "0.00", 44: "0.00",
}

// formatOf is a format by its number. 14 to 17 and 22 are dates; so are 27 to 31, 36,
// 50 to 54, 57 and 58 where a workbook is of eastern Asia, and unused elsewhere; the
// rest up to 58 are times.
func formatOf(n int, codes map[int]string) format {
	if code, ok := codes[n]; ok {
		return readFormat(code)
	}
	switch {
	case n >= 14 && n <= 17, n >= 27 && n <= 31, n == 36, n >= 50 && n <= 54, n == 57, n == 58:
		return format{date: true}
	case n == 22:
		return format{date: true, hours: true}
	}
	return format{code: builtIn[n]}
}

// readFormat reads a format's code (18.8.31). Years and days make a date, and months
// where no hours or seconds make minutes of them.
func readFormat(code string) format {
	bare := strings.ToLower(bareCode(code))
	bare = strings.ReplaceAll(strings.ReplaceAll(bare, "am/pm", ""), "a/p", "")
	first, _, _ := strings.Cut(bare, ";")
	hours := strings.Contains(first, "h")
	switch {
	case strings.Contains(first, "general") || !strings.ContainsAny(first, "0#?ydmhs"):
		return format{}
	case strings.ContainsAny(first, "yd") || strings.Contains(first, "m") && !strings.ContainsAny(first, "hs"):
		return format{date: true, hours: hours}
	case strings.ContainsAny(first, "e/"): // 1.2E+05, 1 1/2: all figures say more
		return format{}
	}
	return format{code: ungrouped(code)}
}

// bareCode is a format's code without what it writes as it stands, and without
// colours, conditions and currencies, but for hours that are counted on, as [h].
func bareCode(code string) string {
	var b strings.Builder
	for i := 0; i < len(code); i++ {
		switch c := code[i]; c {
		case '"':
			end := strings.IndexByte(code[i+1:], '"')
			if end < 0 {
				return b.String()
			}
			i += end + 1
		case '\\', '_', '*':
			i++
		case '[':
			end := strings.IndexByte(code[i:], ']')
			if end < 0 {
				return b.String()
			}
			if in := strings.ToLower(code[i+1 : i+end]); strings.Trim(in, "h") == "" || strings.Trim(in, "m") == "" || strings.Trim(in, "s") == "" {
				b.WriteString("hs")
			}
			i += end
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

// ungrouped takes the signs between thousands out of a format: who reads 1,234 can't
// know whether that is a thousand or a bit more than one.
func ungrouped(code string) string {
	var b strings.Builder
	quoted := false
	for i := 0; i < len(code); i++ {
		c := code[i]
		if c == '"' {
			quoted = !quoted
		}
		if c == '\\' && !quoted && i+1 < len(code) {
			b.WriteString(code[i : i+2])
			i++
			continue
		}
		if c != ',' || quoted {
			b.WriteByte(c)
		}
	}
	return b.String()
}

// mostShown is how many different forms of numbers are kept ready.
const mostShown = 500

// show gives a number in the form that a code says, as the library of our own
// workbooks has it. A code that it can't do leaves the number as it is.
func (f *formats) show(number, code string) (text string) {
	defer func() {
		if recover() != nil { // a code is any text that somebody put into the file
			text = number
		}
	}()
	cell, ok := f.cells[code]
	if !ok {
		if cell = f.prepare(code); cell == "" {
			return number
		}
	}
	if f.page.SetCellDefault(page, cell, number) != nil {
		return number
	}
	text, err := f.page.GetCellValue(page, cell)
	if err != nil || text == "" {
		return number
	}
	return text
}

const page = "Sheet1"

// prepare makes a cell that shows numbers by a code.
func (f *formats) prepare(code string) string {
	if f.page == nil {
		f.page, f.cells = excelize.NewFile(), map[string]string{}
	}
	if len(f.cells) == mostShown {
		return ""
	}
	cell := fmt.Sprintf("A%d", len(f.cells)+1)
	id, err := f.page.NewStyle(&excelize.Style{CustomNumFmt: &code})
	if err != nil || f.page.SetCellStyle(page, cell, cell, id) != nil {
		return ""
	}
	f.cells[code] = cell
	return cell
}
