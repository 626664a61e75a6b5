package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"oldhand/events/wholefile"
)

// row is one line of the table.
type row struct {
	Figure string  `json:"figure"`
	Events int     `json:"events"` // of the shop that it was measured on
	Unit   unit    `json:"unit,omitempty"`
	Ours   float64 `json:"ours,omitempty"`
	Beside string  `json:"beside,omitempty"` // the peer
	Peer   float64 `json:"peer,omitempty"`
	Ratio  float64 `json:"ratio,omitempty"` // ours to the peer's
	Goal   string  `json:"goal,omitempty"`
	Met    string  `json:"met,omitempty"`
	Rounds int     `json:"rounds"`
	Failed string  `json:"failed,omitempty"`
}

// table prints rows as they come, and keeps them in a file.
type table struct {
	out  io.Writer
	file string // of JSON; empty for none
	rows []row
}

// openTable goes on with the rows that a file has, if it is there: a run that
// measures some figures again puts them in the place of the old ones.
func openTable(out io.Writer, file string) (*table, error) {
	t := &table{out: out, file: file}
	if file == "" {
		return t, nil
	}
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return t, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &t.rows)
	}
	if err != nil {
		return nil, fmt.Errorf("go on with the figures in %s: %w", file, err)
	}
	return t, nil
}

const (
	headForm = "%-64s %12s %12s %-14s %8s  %-12s %-8s %6s\n"
	rowForm  = "%-64s %12s %12s %-14s %8s  %-12s %-8s %6d\n"
)

func (t *table) head() {
	fmt.Fprintf(t.out, headForm, "figure", "ours", "peer", "which is", "ratio", "goal", "", "rounds")
}

// put prints a row and keeps it.
func (t *table) put(r row) error {
	t.print(r)
	same := func(o row) bool { return o.Figure == r.Figure && o.Events == r.Events }
	if i := slices.IndexFunc(t.rows, same); i >= 0 {
		t.rows[i] = r
	} else {
		t.rows = append(t.rows, r)
	}
	if t.file == "" {
		return nil
	}
	text, err := json.MarshalIndent(t.rows, "", "  ")
	if err != nil {
		return fmt.Errorf("write the figures: %w", err)
	}
	return wholefile.Write(t.file, append(text, '\n'))
}

func (t *table) print(r row) {
	if r.Failed != "" {
		fmt.Fprintf(t.out, "%-64s FAILED: %s\n", r.Figure, r.Failed)
		return
	}
	peer, ratio := "", ""
	if r.Beside != "" {
		peer, ratio = r.Unit.show(r.Peer), three(r.Ratio)
	}
	fmt.Fprintf(t.out, rowForm, r.Figure, r.Unit.show(r.Ours), peer, r.Beside, ratio, r.Goal, r.Met, r.Rounds)
}

// forget drops the row that says that a part failed in an earlier run.
func (t *table) forget(figure string) {
	t.rows = slices.DeleteFunc(t.rows, func(r row) bool { return r.Figure == figure && r.Failed != "" })
}
