package stats

import (
	"errors"
	"fmt"
	"math"
)

// Table is counts of two kinds by two groups: a row for each group, a column
// for each kind.
type Table [2][2]int

func (t Table) check() error {
	for _, row := range t {
		for _, n := range row {
			if n < 0 {
				return fmt.Errorf("table %v: no count may be below zero", t)
			}
		}
	}
	if t[0][0]+t[0][1]+t[1][0]+t[1][1] == 0 {
		return ErrNoCases
	}
	return nil
}

// ChiSquare is the outcome of a chi-square test.
type ChiSquare struct {
	X2       float64
	DF       int
	P        float64
	Smallest float64 // of the expected counts
}

// Doubtful says that some expected count is below 5, so that P may be far off:
// use FisherExact where it can be.
func (c ChiSquare) Doubtful() bool { return c.Smallest < 5 }

// ErrEmptyLine is returned when a row or a column of a table holds nothing, so
// that there is nothing to expect in it.
var ErrEmptyLine = errors.New("a row or a column is empty")

// ChiSquareTest tests whether the rows of a table of any size differ, without
// continuity correction.
func ChiSquareTest(table [][]int) (ChiSquare, error) { return chiSquare(table, false) }

// YatesTest is ChiSquareTest of a table of two by two with the continuity
// correction by Yates: half a case, but never more than the difference itself.
func YatesTest(t Table) (ChiSquare, error) {
	return chiSquare([][]int{t[0][:], t[1][:]}, true)
}

func chiSquare(table [][]int, correct bool) (ChiSquare, error) {
	rows, columns, all, err := margins(table)
	if err != nil {
		return ChiSquare{}, fmt.Errorf("chi-square test: %w", err)
	}
	c := ChiSquare{DF: (len(rows) - 1) * (len(columns) - 1), Smallest: math.Inf(1)}
	for i, row := range table {
		for j, n := range row {
			expected := rows[i] * columns[j] / all
			off := math.Abs(float64(n) - expected)
			if correct {
				off -= min(0.5, off)
			}
			c.X2 += off * off / expected
			c.Smallest = min(c.Smallest, expected)
		}
	}
	c.P = chi2Above(c.X2, c.DF)
	return c, nil
}

// margins are the sums of the rows and of the columns.
func margins(table [][]int) (rows, columns []float64, all float64, err error) {
	if len(table) < 2 || len(table[0]) < 2 {
		return nil, nil, 0, fmt.Errorf("a table of %d rows: at least two by two are needed", len(table))
	}
	rows, columns = make([]float64, len(table)), make([]float64, len(table[0]))
	for i, row := range table {
		if len(row) != len(columns) {
			return nil, nil, 0, fmt.Errorf("row %d has %d columns, the first %d", i+1, len(row), len(columns))
		}
		for j, n := range row {
			if n < 0 {
				return nil, nil, 0, fmt.Errorf("row %d holds %d: no count may be below zero", i+1, n)
			}
			rows[i] += float64(n)
			columns[j] += float64(n)
			all += float64(n)
		}
	}
	for _, sums := range [][]float64{rows, columns} {
		for _, sum := range sums {
			if sum == 0 {
				return nil, nil, 0, ErrEmptyLine
			}
		}
	}
	return rows, columns, all, nil
}
