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

// Fisher is the outcome of the exact test of a table.
type Fisher struct {
	// Less and Greater are the chances of a first cell so small or smaller, and
	// so large or larger, with all sums of rows and columns as they are.
	Less, Greater float64

	// TwoSided is the chance of a table no more likely than this one.
	TwoSided float64

	draws draws
}

// OddsRatio is the conditional maximum likelihood estimate of the odds ratio,
// which is not the product of the diagonals' ratio. There is none where it
// would be infinite or where the sums leave only one table. It is looked for
// when it is asked for: it costs some fifty times the test.
func (f Fisher) OddsRatio() (ratio float64, ok bool) { return f.draws.oddsRatio() }

// equallyLikely is how much more likely than the observed table another may
// come out and still count as no more likely: equal chances differ in their
// last digits.
const equallyLikely = 1e-7

// FisherExact tests whether the rows of a table differ, however small the
// counts are.
func FisherExact(t Table) (Fisher, error) {
	if err := t.check(); err != nil {
		return Fisher{}, fmt.Errorf("exact test: %w", err)
	}
	d := newDraws(t)
	chances := d.tilted(0)
	observed := chances[d.seen]
	f := Fisher{draws: d}
	for i, p := range chances {
		if i <= d.seen {
			f.Less += p
		}
		if i >= d.seen {
			f.Greater += p
		}
		if p <= observed*(1+equallyLikely) {
			f.TwoSided += p
		}
	}
	f.Less, f.Greater, f.TwoSided = min(f.Less, 1), min(f.Greater, 1), min(f.TwoSided, 1)
	return f, nil
}

// draws are the tables with the same sums, by their first cell, from the
// smallest it can be.
type draws struct {
	logs []float64 // of their chances, but for a constant
	seen int       // which of them is the observed one
}

func newDraws(t Table) draws {
	row, other, column := t[0][0]+t[0][1], t[1][0]+t[1][1], t[0][0]+t[1][0]
	least, most := max(0, column-other), min(row, column)
	d := draws{logs: make([]float64, 1, most-least+1), seen: t[0][0] - least}
	for k := least; k < most; k++ {
		up := float64(row-k) * float64(column-k)
		down := float64(k+1) * float64(other-column+k+1)
		d.logs = append(d.logs, d.logs[k-least]+math.Log(up/down))
	}
	return d
}

// tilted gives the chances of the tables were the logarithm of the odds ratio
// not 0 but theta.
func (d draws) tilted(theta float64) []float64 {
	highest := math.Inf(-1)
	for i, l := range d.logs {
		highest = max(highest, l+theta*float64(i))
	}
	chances, all := make([]float64, len(d.logs)), 0.0
	for i, l := range d.logs {
		chances[i] = math.Exp(l + theta*float64(i) - highest)
		all += chances[i]
	}
	for i := range chances {
		chances[i] /= all
	}
	return chances
}

// oddsRatio finds the odds ratio at which the observed table is what is to be
// expected.
func (d draws) oddsRatio() (ratio float64, ok bool) {
	switch d.seen {
	case len(d.logs) - 1:
		return 0, false
	case 0:
		return 0, true
	}
	low, high := -1.0, 1.0
	for d.expected(low) > float64(d.seen) {
		low *= 2
	}
	for d.expected(high) < float64(d.seen) {
		high *= 2
	}
	for high-low > 1e-12*max(1, high, -low) {
		middle := (low + high) / 2
		if d.expected(middle) < float64(d.seen) {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Exp((low + high) / 2), true
}

func (d draws) expected(theta float64) float64 {
	sum := 0.0
	for i, p := range d.tilted(theta) {
		sum += float64(i) * p
	}
	return sum
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
