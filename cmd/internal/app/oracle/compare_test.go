package oracle_test

import (
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
)

// answer is what the program says to a question.
type answer struct {
	Rows    []row
	Missing []struct {
		What  string
		Count int
	}
	Notes []string
}

func ask(t testing.TB, s *app.Shop, in app.Asking) (a answer) {
	t.Helper()
	res, err := s.Ask(in)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(res)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &a); err != nil {
		t.Fatal(err)
	}
	return a
}

// missing is how much of something an answer says it leaves out.
func (a answer) missing(what string) (n int) {
	for _, m := range a.Missing {
		if strings.Contains(m.What, what) {
			n += m.Count
		}
	}
	return n
}

// of are the rows that have a column, where an answer has rows of several kinds.
func of(rows []row, column string) (some []row) {
	for _, r := range rows {
		if _, ok := r[column]; ok {
			some = append(some, r)
		}
	}
	return some
}

// unchecked are the columns of answers that the oracle does not have.
var unchecked = map[string]bool{"shrunk": true}

// sameRows compares rows by the columns that name a row. Both have the same
// columns, and every value is equal, numbers to a millionth.
func sameRows(t *testing.T, what string, got, want []row, keys ...string) {
	t.Helper()
	left := map[string]row{}
	for _, r := range got {
		k := keyText(r, keys)
		if _, twice := left[k]; twice {
			t.Errorf("%s: %s is in the answer twice", what, k)
		}
		left[k] = r
	}
	if len(got) != len(want) {
		t.Errorf("%s: %d rows, the oracle has %d", what, len(got), len(want))
	}
	for _, w := range want {
		k := keyText(w, keys)
		g, ok := left[k]
		if !ok {
			t.Errorf("%s: no row for %s", what, k)
			continue
		}
		delete(left, k)
		sameColumns(t, what+": "+k, g, w)
	}
	for k := range left {
		t.Errorf("%s: %s is not in the oracle", what, k)
	}
}

func sameColumns(t *testing.T, what string, got, want row) {
	t.Helper()
	for _, column := range columns(want) {
		if _, ok := got[column]; !ok {
			t.Errorf("%s: the answer has no column %s", what, column)
		} else if why := differs(got[column], want[column]); why != "" {
			t.Errorf("%s: %s: %s", what, column, why)
		}
	}
	for _, column := range columns(got) {
		if _, ok := want[column]; !ok && !unchecked[column] {
			t.Errorf("%s: the oracle has no column %s", what, column)
		}
	}
}

func keyText(r row, keys []string) string {
	var parts []string
	for _, k := range keys {
		parts = append(parts, fmt.Sprint(r[k]))
	}
	return strings.Join(parts, " | ")
}

func columns(r row) (names []string) {
	for name := range r {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// differs says how two values differ, nothing where they are one.
func differs(got, want any) string {
	if g, ok := number(got); ok {
		if w, ok := number(want); ok && math.Abs(g-w) <= 1e-6*math.Abs(w)+1e-12 {
			return ""
		}
		return fmt.Sprintf("%v, the oracle has %v", got, want)
	}
	switch w := want.(type) {
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("%v, the oracle has %v", got, want)
		}
		for i := range w {
			if why := differs(g[i], w[i]); why != "" {
				return fmt.Sprintf("at %d: %s", i, why)
			}
		}
		return ""
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok || len(g) != len(w) {
			return fmt.Sprintf("%v, the oracle has %v", got, want)
		}
		for name := range w {
			if why := differs(g[name], w[name]); why != "" {
				return name + ": " + why
			}
		}
		return ""
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		return fmt.Sprintf("%v, the oracle has %v", got, want)
	}
	return ""
}

func number(v any) (float64, bool) {
	switch n := v.(type) {
	case float64:
		return n, true
	case int64:
		return float64(n), true
	case int:
		return float64(n), true
	}
	return 0, false
}

func equal[T comparable](t testing.TB, what string, got, want T) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}
