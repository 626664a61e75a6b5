package stats_test

import (
	"math"
	"strconv"
	"testing"

	"oldhand/events/sharedtest"
	"oldhand/projections/stats"
)

// The helpers here read the reference tables and compare with what is printed
// in them. Sources are those of checkdata/README.md: published data, and values
// computed with R 4.2.2 (survival 3.5-3, vegan 2.6-4) or as said beside a check.

// reporter is what the checks need of a test or of a drawn example of one.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
}

// near fails unless got is want to 1e-6 of it.
func near(t reporter, what string, got, want float64) {
	t.Helper()
	within(t, what, got, want, 1e-6*math.Abs(want)+1e-12)
}

// within fails unless got is want to so much.
func within(t reporter, what string, got, want, off float64) {
	t.Helper()
	if !(math.Abs(got-want) <= off) {
		t.Errorf("%s: %.10g, want %.10g", what, got, want)
	}
}

// printed fails unless got is the number in a cell to 1e-6 of it.
func printed(t testing.TB, what string, got float64, cell string) {
	t.Helper()
	want := number(t, cell)
	within(t, what, got, want, 1e-6*math.Abs(want)+1e-12)
}

// blankOr fails unless ok is false just where the cell is blank, and otherwise
// got is the number in it.
func blankOr(t testing.TB, what string, got float64, ok bool, cell string) {
	t.Helper()
	if ok != (cell != "") {
		t.Errorf("%s: defined: %v, the table has %q", what, ok, cell)
	} else if ok {
		printed(t, what, got, cell)
	}
}

func number(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func whole(t testing.TB, cell string) int {
	t.Helper()
	v, err := strconv.Atoi(cell)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func confidence(t testing.TB, share float64) stats.Level {
	t.Helper()
	return must[stats.Level](t)(stats.Confidence(share))
}

func rows(t testing.TB, name string) []map[string]string {
	t.Helper()
	return sharedtest.Rows(t, "checkdata/"+name+".csv")
}
