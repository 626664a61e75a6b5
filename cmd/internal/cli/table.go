package cli

import (
	"encoding/json"
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/projections"

	"charm.land/lipgloss/v2"
)

// columns lays rows out in columns, by what a terminal shows of each cell, so
// that letters of double width do not push what follows. Empty columns are
// left out.
func columns(rows [][]string) []string {
	width := make([]int, len(rows[0]))
	for i, row := range rows {
		for j, cell := range row {
			if i > 0 || hasCell(rows, j) {
				width[j] = max(width[j], lipgloss.Width(cell))
			}
		}
	}
	lines := make([]string, 0, len(rows))
	for _, row := range rows {
		var b strings.Builder
		for j, cell := range row {
			if width[j] == 0 {
				continue
			}
			b.WriteString(cell)
			b.WriteString(strings.Repeat(" ", max(0, width[j]-lipgloss.Width(cell))+2))
		}
		lines = append(lines, strings.TrimRight(b.String(), " "))
	}
	return lines
}

// hasCell reports whether a column holds anything below its heading.
func hasCell(rows [][]string, j int) bool {
	for _, row := range rows[1:] {
		if j < len(row) && row[j] != "" {
			return true
		}
	}
	return false
}

func (e *env) questions() error {
	list := app.Questions()
	return e.answer(list, func() {
		for _, q := range list {
			e.printf("%-12s %s\n", q.Name, q.Title)
		}
	})
}

// tellResult prints any answer: its rows by their own keys, what is missing
// from it, and how it was come by.
func (e *env) tellResult(r *projections.Result) {
	e.printf("%s, as of %s\n", r.Question, r.AsOf)
	if len(r.Rows) == 0 {
		e.printf("no rows\n")
	} else if rows, err := plainRows(r.Rows); err == nil {
		for _, line := range columns(rows) {
			e.printf("%s\n", line)
		}
	}
	for _, m := range r.Missing {
		e.printf("left out: %d %s\n", m.Count, m.What)
	}
	for _, n := range r.Notes {
		e.printf("%s\n", n)
	}
	e.printf("how: %s\n", r.Method)
}

// plainRows reads the rows' keys and values in the order in which they are
// printed as JSON.
func plainRows(rows []any) ([][]string, error) {
	var table [][]string
	for i, row := range rows {
		b, err := json.Marshal(row)
		if err != nil {
			return nil, err
		}
		keys, values, err := pairs(b)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			table = append(table, keys)
		}
		table = append(table, values)
	}
	return table, nil
}

func pairs(object []byte) (keys, values []string, err error) {
	dec := json.NewDecoder(strings.NewReader(string(object)))
	if _, err := dec.Token(); err != nil {
		return nil, nil, err
	}
	for dec.More() {
		k, err := dec.Token()
		if err != nil {
			return nil, nil, err
		}
		var v any
		if err := dec.Decode(&v); err != nil {
			return nil, nil, err
		}
		keys, values = append(keys, strings.ReplaceAll(fmt.Sprint(k), "_", " ")), append(values, cellText(v))
	}
	return keys, values, nil
}

func cellText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case float64:
		return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.4f", v), "0"), ".")
	}
	return fmt.Sprint(v)
}
