package sheet

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"oldhand/projections"
)

// cell is one value: a number as JSON prints it, or a text.
type cell struct {
	text   string
	number bool
}

func word(s string) cell { return cell{text: s} }

// table is a run of rows with the same keys.
type table struct {
	heading []string
	rows    [][]cell
}

// Table is a run of rows with the same keys, each value as JSON prints it.
type Table struct {
	Keys []string
	Rows [][]json.RawMessage
}

// Tables reads the rows' keys and values in the order in which they are printed
// as JSON. Curves are left out.
func Tables(rows []any) ([]Table, error) {
	var tables []Table
	for i, row := range rows {
		b, err := json.Marshal(row)
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", i+1, err)
		}
		var r reading
		if err := r.object(b); err != nil {
			return nil, fmt.Errorf("row %d: %w", i+1, err)
		}
		if n := len(tables); n == 0 || !slices.Equal(tables[n-1].Keys, r.keys) {
			tables = append(tables, Table{Keys: r.keys})
		}
		last := &tables[len(tables)-1]
		last.Rows = append(last.Rows, r.values)
	}
	return tables, nil
}

// tablesOf are an answer's tables as cells, under their keys as words.
func tablesOf(rows []any) ([]table, error) {
	read, err := Tables(rows)
	if err != nil {
		return nil, err
	}
	tables := make([]table, len(read))
	n := 0
	for i, t := range read {
		for _, k := range t.Keys {
			tables[i].heading = append(tables[i].heading, strings.ReplaceAll(k, "_", " "))
		}
		for _, values := range t.Rows {
			n++
			cells := make([]cell, len(values))
			for j, v := range values {
				if cells[j], err = cellOf(v); err != nil {
					return nil, fmt.Errorf("row %d: %s: %w", n, t.Keys[j], err)
				}
			}
			tables[i].rows = append(tables[i].rows, cells)
		}
	}
	return tables, nil
}

// reading is what one row was read into.
type reading struct {
	keys   []string
	values []json.RawMessage
}

// object reads an object's keys and values in order. An object inside it gives
// its own in its place, so a row without one has other keys and begins another
// table. What was charged has a key for each currency that was, so it stays one
// cell, or each year would begin a table of its own.
func (r *reading) object(object []byte) error {
	return eachPair(object, func(key string, raw json.RawMessage) error {
		switch {
		case key == "steps":
			return nil
		case raw[0] == '{' && key != "charged":
			return r.object(raw)
		}
		r.keys, r.values = append(r.keys, key), append(r.values, raw)
		return nil
	})
}

func eachPair(object []byte, fn func(key string, raw json.RawMessage) error) error {
	dec := json.NewDecoder(bytes.NewReader(object))
	if open, err := dec.Token(); err != nil || open != json.Delim('{') {
		return fmt.Errorf("it is no object with keys, but %.40s", object)
	}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return err
		}
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return err
		}
		if err := fn(fmt.Sprint(key), raw); err != nil {
			return err
		}
	}
	return nil
}

func cellOf(raw json.RawMessage) (cell, error) {
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		return cell{}, err
	}
	switch v := v.(type) {
	case json.Number:
		return cell{v.String(), true}, nil
	case bool:
		return word(map[bool]string{true: "yes", false: "no"}[v]), nil
	}
	return word(spoken(v)), nil
}

// spoken is a value inside one cell.
func spoken(v any) string {
	var words []string
	switch v := v.(type) {
	case nil:
		return ""
	case []any:
		for _, w := range v {
			words = append(words, spoken(w))
		}
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			words = append(words, spoken(v[k])+" "+k)
		}
	default:
		return fmt.Sprint(v)
	}
	return strings.Join(words, ", ")
}

// below is what stands below the tables: what an answer has to say of itself.
func below(r *projections.Result) [][]cell {
	lines := [][]cell{{word("question"), word(r.Question)}, {word("as of"), word(r.AsOf)}}
	for _, m := range r.Missing {
		lines = append(lines, []cell{word("left out"), word(m.What), {fmt.Sprint(m.Count), true}})
	}
	for _, n := range r.Notes {
		lines = append(lines, []cell{word("note"), word(n)})
	}
	return append(lines, []cell{word("how"), word(r.Method)}, []cell{word("empty cells"), word("hold a value that is not there: not reached, not known, or with nothing to compare it with")})
}

// layOut are all lines of an answer; headings tells which of them are those.
// Tables stand apart by an empty line.
func layOut(r *projections.Result) (lines [][]cell, headings map[int]bool, err error) {
	if r == nil {
		return nil, nil, fmt.Errorf("there is no answer")
	}
	tables, err := tablesOf(r.Rows)
	if err != nil {
		return nil, nil, err
	}
	headings = map[int]bool{}
	for _, t := range tables {
		headings[len(lines)] = true
		var heading []cell
		for _, h := range t.heading {
			heading = append(heading, word(h))
		}
		lines = append(append(append(lines, heading), t.rows...), nil)
	}
	if len(tables) == 0 {
		lines = append(lines, []cell{word("nothing to tell yet")}, nil)
	}
	return append(lines, below(r)...), headings, nil
}
