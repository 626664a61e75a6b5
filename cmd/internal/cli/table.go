package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
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

// tablesOf reads the rows' keys and values in the order in which they are
// printed as JSON, a table for each run of rows with the same keys. Curves are
// left to JSON and to the picture.
func tablesOf(rows []any) ([][][]string, error) {
	var tables [][][]string
	for _, row := range rows {
		b, err := json.Marshal(row)
		if err != nil {
			return nil, err
		}
		keys, values, err := pairs(b)
		if err != nil {
			return nil, err
		}
		if n := len(tables); n == 0 || !slices.Equal(tables[n-1][0], keys) {
			tables = append(tables, [][]string{keys})
		}
		tables[len(tables)-1] = append(tables[len(tables)-1], values)
	}
	return tables, nil
}

// pairs reads an object's keys and values in order; an object inside it gives
// its own in its place.
func pairs(object []byte) (keys, values []string, err error) {
	dec := json.NewDecoder(bytes.NewReader(object))
	if _, err := dec.Token(); err != nil {
		return nil, nil, err
	}
	for dec.More() {
		k, err := dec.Token()
		if err != nil {
			return nil, nil, err
		}
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return nil, nil, err
		}
		switch {
		case k == "steps" || k == "unit":
		case raw[0] == '{' && k != "charged":
			inner, cells, err := pairs(raw)
			if err != nil {
				return nil, nil, err
			}
			keys, values = append(keys, inner...), append(values, cells...)
		default:
			cell, err := cellText(raw)
			if err != nil {
				return nil, nil, err
			}
			keys, values = append(keys, strings.ReplaceAll(fmt.Sprint(k), "_", " ")), append(values, cell)
		}
	}
	return keys, values, nil
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
