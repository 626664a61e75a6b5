package stats_test

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// Source: the definition. The chances of all tables with the same sums are
// ratios of whole numbers, added up without rounding by math/big.
func TestTheExactTestIsTheSumOfTheTablesChances(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := func(name string) int {
			return rapid.IntRange(0, rapid.SampledFrom([]int{2, 6, 30, 300}).Draw(rt, "most")).Draw(rt, name)
		}
		table := stats.Table{{n("a"), n("b")}, {n("c"), 1 + n("d")}}
		f, err := stats.FisherExact(table)
		if err != nil {
			rt.Fatal(err)
		}
		less, greater, two := byCounting(table)
		for _, c := range []struct {
			what      string
			got, want float64
		}{{"less", f.Less, less}, {"greater", f.Greater, greater}, {"two sides", f.TwoSided, two}} {
			if math.Abs(c.got-c.want) > 1e-11*c.want {
				rt.Errorf("%s of %v: %v, want %v", c.what, table, c.got, c.want)
			}
		}
	})
}

// byCounting counts the ways in which each table comes about.
func byCounting(t stats.Table) (less, greater, two float64) {
	row, other, column := int64(t[0][0]+t[0][1]), int64(t[1][0]+t[1][1]), int64(t[0][0]+t[1][0])
	ways := func(k int64) *big.Int {
		return new(big.Int).Mul(new(big.Int).Binomial(row, k), new(big.Int).Binomial(other, column-k))
	}
	seen := ways(int64(t[0][0]))
	var l, g, both, all big.Int
	for k := max(0, column-other); k <= min(row, column); k++ {
		w := ways(k)
		all.Add(&all, w)
		if k <= int64(t[0][0]) {
			l.Add(&l, w)
		}
		if k >= int64(t[0][0]) {
			g.Add(&g, w)
		}
		if w.Cmp(seen) <= 0 {
			both.Add(&both, w)
		}
	}
	share := func(n *big.Int) float64 {
		f, _ := new(big.Rat).SetFrac(n, &all).Float64()
		return f
	}
	return share(&l), share(&g), share(&both)
}

// Tables of a large shop: every cell of a fault by year made.
func BenchmarkFisherExactOfALargeShop(b *testing.B) {
	for b.Loop() {
		for x := 10; x < 400; x += 10 {
			if _, err := stats.FisherExact(stats.Table{{x, 2200 - x}, {7000 - x, 70000 + x}}); err != nil {
				b.Fatal(err)
			}
		}
	}
}
