package stats_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

type limitsOf func(stats.Share, stats.Level) (stats.Interval, error)

var kinds = map[string]limitsOf{"wilson": stats.Wilson, "cp": stats.ClopperPearson, "jeffreys": stats.Jeffreys}

// Source: proportion_intervals.csv, R's prop.test, binom.test and qbeta;
// statsmodels agrees. It is printed to ten places after the point.
func TestLimitsOfSharesMeetTheTable(t *testing.T) {
	for _, row := range rows(t, "proportion_intervals") {
		share := stats.Share{X: whole(t, row["x"]), N: whole(t, row["n"])}
		level := confidence(t, number(t, row["conf"]))
		for kind, limits := range kinds {
			what := kind + " " + row["x"] + "/" + row["n"] + " at " + row["conf"]
			i := must[stats.Interval](t)(limits(share, level))
			within(t, what+": lower", i.Lo, number(t, row[kind+"_lo"]), 1e-10)
			within(t, what+": upper", i.Hi, number(t, row[kind+"_hi"]), 1e-10)
		}
	}
}

// Source: the table of facts.md 3 (first two rows: Newcombe 1998), at 95 %.
func TestLimitsOfSharesMeetThePublishedExamples(t *testing.T) {
	for _, c := range []struct {
		x, n                 int
		wilson, cp, jeffreys stats.Interval
	}{
		{81, 263, stats.Interval{0.2552885, 0.3662096}, stats.Interval{0.2527367, 0.3676219}, stats.Interval{0.2545219, 0.3656475}},
		{0, 20, stats.Interval{0, 0.1611252}, stats.Interval{0, 0.1684335}, stats.Interval{0, 0.1166390}},
		{0, 1, stats.Interval{0, 0.7934507}, stats.Interval{0, 0.9750000}, stats.Interval{0, 0.8532537}},
		{3, 10, stats.Interval{0.1077913, 0.6032219}, stats.Interval{0.0667395, 0.6524529}, stats.Interval{0.0926946, 0.6058183}},
		{7, 50, stats.Interval{0.0695083, 0.2618619}, stats.Interval{0.0581917, 0.2673960}, stats.Interval{0.0648717, 0.2553250}},
		{12, 60, stats.Interval{0.1182851, 0.3178181}, stats.Interval{0.1078411, 0.3233004}, stats.Interval{0.1142464, 0.3138807}},
	} {
		for kind, want := range map[string]stats.Interval{"wilson": c.wilson, "cp": c.cp, "jeffreys": c.jeffreys} {
			got := must[stats.Interval](t)(kinds[kind](stats.Share{X: c.x, N: c.n}, stats.Level{}))
			within(t, kind+": lower", got.Lo, want.Lo, 0.51e-7)
			within(t, kind+": upper", got.Hi, want.Hi, 0.51e-7)
		}
	}
}

// Source: poisson_garwood.csv, R's qchisq and poisson.test; SciPy agrees.
func TestLimitsOfCountsMeetTheTable(t *testing.T) {
	for _, row := range rows(t, "poisson_garwood") {
		for _, level := range []string{"95", "90"} {
			i := must[stats.Interval](t)(stats.Garwood(whole(t, row["count"]), confidence(t, number(t, level)/100)))
			within(t, row["count"]+" lower at "+level, i.Lo, number(t, row["lo"+level]), 0.51e-8)
			within(t, row["count"]+" upper at "+level, i.Hi, number(t, row["hi"+level]), 0.51e-8)
		}
	}
}

// Source: facts.md 3, R's poisson.test; 1000: libraries.md, interval statistics.
func TestLimitsOfRatesMeetTheWorkedExamples(t *testing.T) {
	i := must[stats.Interval](t)(stats.GarwoodRate(3, 41.2, stats.Level{}))
	near(t, "3 in 41.2: lower", i.Lo, 0.01501631)
	near(t, "3 in 41.2: upper", i.Hi, 0.2127979)
	i = must[stats.Interval](t)(stats.GarwoodRate(0, 12.5, stats.Level{}))
	near(t, "0 in 12.5: lower", i.Lo, 0)
	near(t, "0 in 12.5: upper", i.Hi, 0.2951104)
	i = must[stats.Interval](t)(stats.GarwoodRate(0, 12.5, confidence(t, 0.9))) // both sides of 90 % are one of 95 %
	near(t, "rule of three", i.Hi*12.5, 2.995732)
	i = must[stats.Interval](t)(stats.Garwood(1000, stats.Level{}))
	within(t, "1000: lower", i.Lo, 938.97, 0.0051)
	within(t, "1000: upper", i.Hi, 1063.95, 0.0051)
}

func TestLimitsRefuseWhatIsNoShareNoCountNoExposureAndNoLevel(t *testing.T) {
	for kind, limits := range kinds {
		for _, s := range []stats.Share{{0, 0}, {-1, 5}, {6, 5}, {0, -3}} {
			if i, err := limits(s, stats.Level{}); err == nil {
				t.Errorf("%s of %v: %v", kind, s, i)
			}
		}
	}
	if i, err := stats.Garwood(-1, stats.Level{}); err == nil {
		t.Errorf("count of -1: %v", i)
	}
	if i, err := stats.GarwoodRate(-1, 1, stats.Level{}); err == nil {
		t.Errorf("rate of -1: %v", i)
	}
	for _, exposure := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if i, err := stats.GarwoodRate(1, exposure, stats.Level{}); err == nil {
			t.Errorf("exposure %v: %v", exposure, i)
		}
	}
	for _, share := range []float64{0, 1, -0.5, 95, math.NaN()} {
		if l, err := stats.Confidence(share); err == nil {
			t.Errorf("confidence %v: %v", share, l)
		}
	}
}

func TestLimitsOfASharesHoldItAndMirror(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 1_000_000).Draw(rt, "n")
		s := stats.Share{X: rapid.IntRange(0, n).Draw(rt, "x"), N: n}
		level, err := stats.Confidence(rapid.Float64Range(0.5, 0.9999).Draw(rt, "level"))
		if err != nil {
			rt.Fatal(err)
		}
		for kind, limits := range kinds {
			i, err := limits(s, level)
			if err != nil {
				rt.Fatal(err)
			}
			if !(0 <= i.Lo && i.Lo <= s.Rate() && s.Rate() <= i.Hi && i.Hi <= 1) {
				rt.Fatalf("%s of %v: %v", kind, s, i)
			}
			other, err := limits(stats.Share{X: s.N - s.X, N: s.N}, level)
			if err != nil {
				rt.Fatal(err)
			}
			within(rt, kind+" of the rest", other.Rest().Lo, i.Lo, 1e-9)
			within(rt, kind+" of the rest", other.Rest().Hi, i.Hi, 1e-9)
		}
	})
}

// Definition (Clopper and Pearson 1934): at its lower limit a share has half of
// the tail at x and above. The sum is made from binomial terms, not from a beta
// distribution.
func TestExactLimitsLeaveHalfOfTheTailOnEachSide(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(rt, "n")
		x := rapid.IntRange(0, n).Draw(rt, "x")
		i, err := stats.ClopperPearson(stats.Share{X: x, N: n}, stats.Level{})
		if err != nil {
			rt.Fatal(err)
		}
		if x > 0 {
			within(rt, "above the lower", binomialFrom(x, n, i.Lo), 0.025, 1e-9)
		}
		if x < n {
			within(rt, "below the upper", binomialFrom(n-x, n, 1-i.Hi), 0.025, 1e-9)
		}
	})
}

// binomialFrom is the chance of x or more in n.
func binomialFrom(x, n int, p float64) float64 {
	sum := 0.0
	for k := x; k <= n; k++ {
		sum += math.Exp(lnChoose(n, k) + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
	}
	return sum
}

func lnChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// Definition (Garwood 1936), by sums of Poisson terms.
func TestLimitsOfACountLeaveHalfOfTheTailOnEachSide(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := rapid.IntRange(0, 2000).Draw(rt, "count")
		i, err := stats.Garwood(c, stats.Level{})
		if err != nil {
			rt.Fatal(err)
		}
		within(rt, "at most c at the upper", poissonTo(c, i.Hi), 0.025, 1e-9)
		if c > 0 {
			within(rt, "at least c at the lower", 1-poissonTo(c-1, i.Lo), 0.025, 1e-9)
		}
	})
}

// poissonTo is the chance of c or fewer where mean are expected.
func poissonTo(c int, mean float64) float64 {
	sum := 0.0
	for k := 0; k <= c; k++ {
		lg, _ := math.Lgamma(float64(k + 1))
		sum += math.Exp(float64(k)*math.Log(mean) - mean - lg)
	}
	return sum
}

var shares = []stats.Share{{0, 20}, {1, 10}, {12, 60}, {81, 263}, {900, 3000}}

func benchmarkLimits(b *testing.B, limits limitsOf) {
	for i := 0; b.Loop(); i++ {
		if _, err := limits(shares[i%len(shares)], stats.Level{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkWilson(b *testing.B)         { benchmarkLimits(b, stats.Wilson) }
func BenchmarkClopperPearson(b *testing.B) { benchmarkLimits(b, stats.ClopperPearson) }
func BenchmarkJeffreys(b *testing.B)       { benchmarkLimits(b, stats.Jeffreys) }

func BenchmarkGarwood(b *testing.B) {
	counts := []int{0, 1, 3, 10, 300}
	for i := 0; b.Loop(); i++ {
		if _, err := stats.Garwood(counts[i%len(counts)], stats.Level{}); err != nil {
			b.Fatal(err)
		}
	}
}
