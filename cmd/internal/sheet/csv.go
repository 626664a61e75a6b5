package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"oldhand/projections"
)

// byteOrderMark tells a spreadsheet that the file is UTF-8; without it Ω and µ
// come out as two wrong letters each.
const byteOrderMark = "\ufeff"

// CSV writes an answer as CSV.
func CSV(w io.Writer, r *projections.Result) error {
	lines, _, err := layOut(r)
	if err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	out := bufio.NewWriter(w)
	out.WriteString(byteOrderMark) // bufio keeps the first error for Flush
	for _, line := range lines {
		b, err := csvLine(line)
		if err != nil {
			return fmt.Errorf("write csv: %w", err)
		}
		out.Write(b)
		out.WriteString("\r\n")
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

// csvLine writes a line without its end. The writer's own UseCRLF would change
// breaks inside of cells too, and drop a lone carriage return.
func csvLine(line []cell) ([]byte, error) {
	if len(line) == 0 {
		return nil, nil
	}
	fields := make([]string, len(line))
	for i, c := range line {
		fields[i] = guarded(c)
	}
	if len(fields) == 1 && fields[0] == "" {
		return []byte(`""`), nil // an empty line would be no line to whoever reads it
	}
	var b bytes.Buffer
	enc := csv.NewWriter(&b)
	if err := enc.Write(fields); err != nil {
		return nil, err
	}
	enc.Flush()
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), enc.Error()
}

// guarded puts an apostrophe before what a spreadsheet would run.
func guarded(c cell) string {
	if !c.number && c.text != "" && strings.IndexByte("=+-@\t\r", c.text[0]) >= 0 {
		return "'" + c.text
	}
	return c.text
}
