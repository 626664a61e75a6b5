package cli

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/sheet"
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
// from it, and how it was come by. Rows of another kind begin another table.
func (e *env) tellResult(r *projections.Result) error {
	e.printf("%s, as of %s\n", r.Question, r.AsOf)
	if len(r.Rows) == 0 {
		e.printf("nothing to tell yet\n")
	}
	tables, err := tablesOf(r.Rows)
	if err != nil {
		return err
	}
	for _, table := range tables {
		for _, line := range columns(table) {
			e.printf("%s\n", line)
		}
		e.printf("\n")
	}
	for _, m := range r.Missing {
		e.printf("left out: %s: %d\n", m.What, m.Count)
	}
	for _, n := range r.Notes {
		e.printf("%s\n", n)
	}
	e.printf("how: %s\n", r.Method)
	return nil
}

// tablesOf are the rows' values under their keys, a table for each run of rows
// with the same keys. Curves are left to JSON and to the picture, ids to JSON.
func tablesOf(rows []any) ([][][]string, error) {
	read, err := sheet.Tables(rows)
	if err != nil {
		return nil, err
	}
	var tables [][][]string
	for _, t := range read {
		table := make([][]string, 1+len(t.Rows))
		for j, key := range t.Keys {
			if key == "unit" {
				continue
			}
			table[0] = append(table[0], strings.ReplaceAll(key, "_", " "))
			for i, row := range t.Rows {
				cell, err := cellText(row[j])
				if err != nil {
					return nil, err
				}
				table[1+i] = append(table[1+i], cell)
			}
		}
		tables = append(tables, table)
	}
	return tables, nil
}

func cellText(raw json.RawMessage) (string, error) {
	var v any
	if err := json.Unmarshal(raw, &v); err != nil {
		return "", err
	}
	switch v := v.(type) {
	case nil:
		return "-", nil
	case float64:
		return short(v), nil
	case bool:
		return map[bool]string{true: "yes", false: ""}[v], nil
	case []any:
		words := make([]string, 0, len(v))
		for _, w := range v {
			words = append(words, fmt.Sprint(w))
		}
		return strings.Join(words, ", "), nil
	case map[string]any:
		var words []string
		for _, k := range slices.Sorted(maps.Keys(v)) {
			words = append(words, fmt.Sprint(v[k])+" "+k)
		}
		return strings.Join(words, ", "), nil
	}
	return fmt.Sprint(v), nil
}

// short is a number with as many digits as a person reads.
func short(v float64) string {
	switch {
	case v == math.Trunc(v):
		return strconv.FormatFloat(v, 'f', 0, 64)
	case math.Abs(v) >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case math.Abs(v) >= 1:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case math.Abs(v) < 0.0005:
		return strconv.FormatFloat(v, 'g', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 3, 64)
}
