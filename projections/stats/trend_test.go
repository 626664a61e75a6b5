package stats_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// Source: NIST/SEMATECH e-Handbook 8.2.3.4, the worked example; watched until
// 1500 h. Its figures as recomputed in facts.md 2.
var handbook = []float64{5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478}

const handbookEnd = 1500

func TestReverseArrangementsOfTheHandbookExample(t *testing.T) {
	v := must[stats.Reversals](t)(stats.ReverseArrangements(handbook))
	if v.R != 33 || v.Max != 45 || v.Mean != 22.5 || !v.Exact {
		t.Errorf("%+v, want 33 of 45, mean 22.5, counted", v)
	}
	near(t, "chance of 33 or more", v.Improving, 0.03627508)
	near(t, "z", v.Z, 1.967740)
	if got := v.Verdict(0.10); got != stats.Improving {
		t.Errorf("verdict at 0.10: %v, want improving", got)
	}
	if got := v.Verdict(0.05); got != stats.NoTrend {
		t.Errorf("verdict at 0.05 on two sides: %v, want no trend", got)
	}
}

// Source: the second example of facts.md 2, a reliability education site.
func TestReverseArrangementsOfTheSixRepairs(t *testing.T) {
	v := must[stats.Reversals](t)(stats.ReverseArrangements([]float64{35, 60, 98, 138, 177, 219}))
	if v.R != 13 || v.Max != 15 {
		t.Errorf("%d of %d, want 13 of 15", v.R, v.Max)
	}
	near(t, "chance of 13 or more", v.Improving, 0.02777778)
}

// Source: NIST 8.2.3.4, the table of critical values as in facts.md 2; -1 is a
// level that even all pairs do not reach.
func TestCriticalReversalsMeetTheHandbookTable(t *testing.T) {
	for r, want := range map[int][3]int{
		4: {6, 6, -1}, 5: {9, 9, 10}, 6: {12, 13, 14}, 7: {16, 17, 19}, 8: {20, 22, 24},
		9: {25, 27, 30}, 10: {31, 33, 36}, 11: {37, 39, 43}, 12: {43, 46, 51},
	} {
		for i, alpha := range []float64{0.10, 0.05, 0.01} {
			got, ok := stats.CriticalReversals(r, alpha)
			if ok != (want[i] >= 0) || ok && got != want[i] {
				t.Errorf("%d repairs at %v: %d (%v), want %d", r, alpha, got, ok, want[i])
			}
		}
	}
	if _, ok := stats.CriticalReversals(0, 0.5); ok {
		t.Error("no repairs have a critical value")
	}
}

// From the definition: every order of gaps is as likely as any other, so the
// chances can be had by going through all orders.
func TestTheChancesOfReversalsAreThoseOfAllOrders(t *testing.T) {
	for r := 4; r <= 7; r++ {
		byR, all := map[int]int{}, 0
		permute(make([]bool, r), nil, func(gaps []float64) {
			byR[must[stats.Reversals](t)(stats.ReverseArrangements(ages(gaps))).R]++
			all++
		})
		up := make([]float64, r)
		for i := range up {
			up[i] = float64(i + 1)
		}
		top := must[stats.Reversals](t)(stats.ReverseArrangements(ages(up)))
		within(t, "all in order", top.Improving, float64(byR[top.Max])/float64(all), 1e-12)
		within(t, "all in order, the other way", top.Degrading, 1, 1e-12)
		up[0], up[1] = up[1], up[0]
		one := must[stats.Reversals](t)(stats.ReverseArrangements(ages(up)))
		within(t, "one pair off", one.Improving, float64(byR[top.Max]+byR[top.Max-1])/float64(all), 1e-12)
	}
}

func permute(used []bool, gaps []float64, each func([]float64)) {
	if len(gaps) == len(used) {
		each(gaps)
		return
	}
	for i := range used {
		if !used[i] {
			used[i] = true
			permute(used, append(gaps, float64(i+1)), each)
			used[i] = false
		}
	}
}

func ages(gaps []float64) []float64 {
	out, age := make([]float64, len(gaps)), 0.0
	for i, g := range gaps {
		age += g
		out[i] = age
	}
	return out
}

// With thirteen repairs the chance is approximated. The exact one is counted
// here by the triangle of Mahonian numbers: orders of n by inversions, each the
// sum of up to n numbers of the line above it.
func TestTheApproximationIsNearTheExactChance(t *testing.T) {
	line := []float64{1}
	for n := 2; n <= 13; n++ {
		next := make([]float64, n*(n-1)/2+1)
		for k := range next {
			for j := max(0, k-n+1); j <= min(k, len(line)-1); j++ {
				next[k] += line[j]
			}
		}
		line = next
	}
	gaps := []float64{9, 5, 1, 2, 8, 3, 4, 11, 6, 13, 7, 12, 10}
	v := must[stats.Reversals](t)(stats.ReverseArrangements(ages(gaps)))
	exact, all := 0.0, 0.0
	for k, n := range line {
		all += n
		if k >= v.R {
			exact += n
		}
	}
	if v.Exact {
		t.Error("thirteen repairs are called counted")
	}
	within(t, "chance of so many or more", v.Improving, exact/all, 0.03*exact/all)
	if byZ := math.Erfc(v.Z/math.Sqrt2) / 2; math.Abs(byZ-exact/all) < 5*math.Abs(v.Improving-exact/all) {
		t.Errorf("the handbook's z gives %v, the tails %v, exact is %v", byZ, v.Improving, exact/all)
	}
	least, ok := stats.CriticalReversals(13, 0.05)
	var above float64
	for k := least; k < len(line); k++ {
		above += line[k] / all
	}
	if !ok || above > 0.051 || above+line[least-1]/all < 0.049 {
		t.Errorf("critical value of 13 at 0.05: %d, with %v at or above", least, above)
	}
}

func TestTheGrowthTestOfTheHandbookExample(t *testing.T) {
	g := must[stats.Growth](t)(stats.GrowthTest(handbook, handbookEnd))
	near(t, "statistic", g.Statistic, 37.22808)
	near(t, "chance below", g.Degrading, 0.9890136)
	within(t, "chance above", g.Improving, 1-0.9890136, 0.51e-7)
	if g.DF != 20 || g.Verdict(0.05) != stats.Improving {
		t.Errorf("%d degrees of freedom, %v; want 20, improving", g.DF, g.Verdict(0.05))
	}
}

func TestTheLaplaceTestOfTheHandbookExample(t *testing.T) {
	c := must[stats.Centroid](t)(stats.Laplace(handbook, handbookEnd))
	near(t, "z", c.Z, -1.326949)
	near(t, "p on two sides", c.TwoSided(), 0.1845255)
	if got := c.Verdict(0.05); got != stats.NoTrend {
		t.Errorf("verdict %v, want no trend", got)
	}
}

// Source: NIST 8.4, values printed by NIST (facts.md 2).
func TestThePowerLawOfTheHandbookExample(t *testing.T) {
	p := must[stats.Power](t)(stats.PowerLaw(handbook, handbookEnd))
	within(t, "slope", p.Slope, 0.483506, 0.51e-6)
	within(t, "MTBF", p.MTBF, 310.234, 0.51e-3)
	l, ok := p.Limits(confidence(t, 0.8))
	within(t, "lower", l.Lo, 157.7138, 0.51e-4)
	within(t, "upper", l.Hi, 548.5566, 0.51e-4)
	if _, far := p.Limits(confidence(t, 0.999999)); !ok || far {
		t.Error("want limits at 80 % and none at 99.9999 %")
	}
}

// Facts.md 2: where the watch stopped at the last repair, T is its time and only
// the first r-1 repairs count. By hand for repairs at 1, 2, 3, 4.
func TestAWatchThatEndsWithARepairDoesNotCountIt(t *testing.T) {
	times := []float64{1, 2, 3, 4}
	c := must[stats.Centroid](t)(stats.Laplace(times, 4))
	within(t, "z", c.Z, 0, 1e-12) // 1, 2 and 3 lie evenly about 2
	g := must[stats.Growth](t)(stats.GrowthTest(times, 4))
	near(t, "statistic", g.Statistic, 2*(math.Log(4)+math.Log(2)+math.Log(4.0/3)))
	if g.DF != 6 {
		t.Errorf("%d degrees of freedom, want 6", g.DF)
	}
	if _, err := stats.PowerLaw(times, 4); !errors.Is(err, stats.ErrEndedByRepair) {
		t.Errorf("power law: %v", err)
	}
}

// Facts.md 2: with fewer than four repairs report no trend verdict.
func TestThreeRepairsGiveNoVerdict(t *testing.T) {
	for what, err := range map[string]error{
		"reverse arrangements": second(stats.ReverseArrangements([]float64{1, 2, 4})),
		"growth":               second(stats.GrowthTest([]float64{1, 2, 4}, 9)),
		"Laplace":              second(stats.Laplace([]float64{1, 2, 4}, 9)),
		"power law":            second(stats.PowerLaw(nil, 9)),
	} {
		var few *stats.TooFewError
		if !errors.As(err, &few) || few.Need != 4 {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestRepairTimesThatCannotBeAreRefused(t *testing.T) {
	for what, times := range map[string][]float64{
		"going back": {1, 3, 2, 4}, "before the start": {-1, 1, 2, 3}, "no number": {1, 2, 3, math.NaN()},
		"without end": {1, 2, 3, math.Inf(1)},
	} {
		if _, err := stats.ReverseArrangements(times); err == nil {
			t.Errorf("%s: taken by reverse arrangements", what)
		}
		if _, err := stats.Laplace(times, 100); err == nil {
			t.Errorf("%s: taken by Laplace", what)
		}
	}
	for _, end := range []float64{3, math.NaN(), math.Inf(1)} {
		if _, err := stats.GrowthTest([]float64{1, 2, 3, 4}, end); err == nil {
			t.Errorf("end %v with a repair at 4 was taken", end)
		}
	}
	if _, err := stats.GrowthTest([]float64{0, 1, 2, 3}, 9); err == nil {
		t.Error("a repair at the start was taken by the growth test")
	}
}

func TestShrinkingAndGrowingGapsAreMirrors(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		gaps := rapid.SliceOfNDistinct(rapid.IntRange(1, 1000), 4, 25, rapid.ID[int]).Draw(rt, "gaps")
		there, back := make([]float64, len(gaps)), make([]float64, len(gaps))
		for i, g := range gaps {
			there[i], back[len(gaps)-1-i] = float64(g), float64(g)
		}
		a, errA := stats.ReverseArrangements(ages(there))
		b, errB := stats.ReverseArrangements(ages(back))
		if errA != nil || errB != nil {
			rt.Fatal(errA, errB)
		}
		if a.R+b.R != a.Max {
			rt.Fatalf("%d and %d of %d", a.R, b.R, a.Max)
		}
		within(rt, "tails", a.Improving, b.Degrading, 1e-12)
		if a.TwoSided() < 0 || a.TwoSided() > 1 {
			rt.Fatalf("p %v", a.TwoSided())
		}
	})
}

func ExampleTails_Verdict() {
	v, err := stats.ReverseArrangements([]float64{2, 9, 20, 41, 77, 130})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(v.R, "of", v.Max, v.Verdict(0.05))
	// Output: 15 of 15 improving
}
