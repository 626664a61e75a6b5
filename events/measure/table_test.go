package measure_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"oldhand/events/measure"
)

// agrees compares a computed number with a cell of a reference table: within
// half of the cell's last place or a millionth, whichever is wider.
func agrees(t *testing.T, what string, got float64, cell string) {
	t.Helper()
	want, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatalf("%s: cell %q: %v", what, cell, err)
	}
	within := math.Abs(want) * 1e-6
	if _, frac, ok := strings.Cut(cell, "."); ok && !strings.ContainsAny(cell, "eE") {
		within = max(within, 0.501*math.Pow10(-len(frac)))
	}
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.9g, the table has %s", what, got, cell)
	}
}

// value reads a cell and a unit into a value, or ends the test.
func value(t testing.TB, text string, q measure.Quantity) measure.Value {
	t.Helper()
	v, err := measure.Parse(text, q)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func whole(t *testing.T, cell string) int {
	t.Helper()
	n, err := strconv.Atoi(cell)
	if err != nil {
		t.Fatal(err)
	}
	return n
}
