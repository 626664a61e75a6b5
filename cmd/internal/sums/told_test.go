package sums_test

import (
	"encoding/json"
	"strings"
	"testing"

	"oldhand/cmd/internal/sums"
)

// told is an answer as a person reads it: its rows, then its words.
func told(t testing.TB, a sums.Answer, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	said := a.Told()
	for _, table := range said.Tables {
		for _, row := range table.Rows {
			if len(row) != len(table.Head) {
				t.Errorf("%v has %d cells under %d headings", row, len(row), len(table.Head))
			}
			b.WriteString(strings.Join(row, " | ") + "\n")
		}
	}
	for _, w := range said.Words {
		if !strings.HasSuffix(w, ".") && !strings.HasSuffix(w, "?") || strings.Contains(w, "  ") {
			t.Errorf("%q is no sentence", w)
		}
		b.WriteString(w + "\n")
	}
	return b.String()
}

func wants(t testing.TB, said string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(said, text) {
			t.Errorf("%q is not in\n%s", text, said)
		}
	}
}

// asJSON is an answer as a program reads it.
func asJSON(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
