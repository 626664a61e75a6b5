package stats_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// rats are the groups of the tumour table, the last of them the current one.
func rats(t testing.TB) []stats.Share {
	t.Helper()
	var groups []stats.Share
	for _, row := range rows(t, "eb_rat_tumor_data") {
		groups = append(groups, stats.Share{X: whole(t, row["y"]), N: whole(t, row["n"])})
	}
	if len(groups) != 71 || groups[70] != (stats.Share{X: 4, N: 14}) {
		t.Fatalf("%d groups, the last %v; want 71, 4 of 14", len(groups), groups[len(groups)-1])
	}
	return groups
}

// Source: Gelman et al., Bayesian Data Analysis, 5.1, recomputed in facts.md 3.
func TestMomentsOfTheRatTumours(t *testing.T) {
	p := must[stats.Prior](t)(stats.MomentFit(rats(t)[:70]))
	near(t, "a", p.A, 1.356149)
	near(t, "b", p.B, 8.615058)
	near(t, "mean", p.A/(p.A+p.B), .1360065)
	near(t, "sd", math.Sqrt(.1360065*(1-.1360065)/(p.A+p.B+1)), .1034923)
	within(t, "4 of 14", must[stats.Posterior](t)(p.Of(stats.Share{X: 4, N: 14})).Mean(), 0.22344, 0.51e-5)
}

// Source: the book's rounded prior (1.4, 8.6), which makes Beta(5.4, 18.6).
func TestTheBooksPosteriorOfTheCurrentRats(t *testing.T) {
	p := must[stats.Posterior](t)(stats.Prior{A: 1.4, B: 8.6}.Of(stats.Share{X: 4, N: 14}))
	near(t, "mean", p.Mean(), 0.2250)
	within(t, "sd", p.SD(), 0.08352, 0.51e-5)
}

// Source: R's optimiser and VGAM 1.1-7, which agree to four digits: 2.342 and
// 14.11 (facts.md 3). The top itself, by Newton's steps in forty decimal digits,
// is at 2.34161 and 14.11480.
func TestLikelihoodOfTheRatTumours(t *testing.T) {
	p := must[stats.Prior](t)(stats.LikelihoodFit(rats(t)))
	within(t, "a", p.A, 2.342, 0.51e-3)
	within(t, "b", p.B, 14.114, 1e-3)
	near(t, "a at the top", p.A, 2.34161440)
	near(t, "b at the top", p.B, 14.11480430)
	within(t, "4 of 14", must[stats.Posterior](t)(p.Of(stats.Share{X: 4, N: 14})).Mean(), 0.2082, 0.51e-4)
}

// A uniform prior makes none of one a Beta(1, 2), whose distribution function
// is 1-(1-x)^2.
func TestLimitsOfAPosteriorAreItsQuantiles(t *testing.T) {
	p := must[stats.Posterior](t)(stats.Prior{A: 1, B: 1}.Of(stats.Share{X: 0, N: 1}))
	l := p.Limits(stats.Level{})
	near(t, "lower", l.Lo, 1-math.Sqrt(0.975))
	near(t, "upper", l.Hi, 1-math.Sqrt(0.025))
}

// Facts.md 3: fewer than five groups, or a spread of m(1-m) and more, have no
// prior; nor have groups that differ no more than chance makes them.
func TestGroupsWithoutAPriorSayWhy(t *testing.T) {
	same := func(s stats.Share, n int) (all []stats.Share) {
		for range n {
			all = append(all, s)
		}
		return all
	}
	poles := append(same(stats.Share{X: 0, N: 9}, 3), same(stats.Share{X: 9, N: 9}, 3)...)
	for _, c := range []struct {
		what                string
		groups              []stats.Share
		moments, likelihood stats.Unfit
	}{
		{"four groups", rats(t)[66:70], stats.TooFewGroups, stats.TooFewGroups},
		{"all or none", poles, stats.TooWideSpread, stats.AllOrNothing},
		{"none at all", same(stats.Share{X: 0, N: 9}, 6), stats.AllOrNothing, stats.AllOrNothing},
		{"all of all", same(stats.Share{X: 9, N: 9}, 6), stats.AllOrNothing, stats.AllOrNothing},
		{"equal", same(stats.Share{X: 3, N: 9}, 6), stats.NoSpread, stats.NoSpread},
		{"all but one of one case, spread just so wide", []stats.Share{{X: 0, N: 1}, {X: 0, N: 1}, {X: 1, N: 1}, {X: 1, N: 1}, {X: 1, N: 1}, {X: 2, N: 3}, {X: 1, N: 1}},
			stats.TooWideSpread, stats.NoSpread},
		{"nearly equal", append(same(stats.Share{X: 30, N: 90}, 6), stats.Share{X: 31, N: 90}), 0, stats.NoSpread},
	} {
		for fit, f := range map[string]func([]stats.Share) (stats.Prior, error){"moments": stats.MomentFit, "likelihood": stats.LikelihoodFit} {
			want := map[string]stats.Unfit{"moments": c.moments, "likelihood": c.likelihood}[fit]
			p, err := f(c.groups)
			var unfit *stats.UnfitError
			if want == 0 && err == nil {
				continue
			}
			if !errors.As(err, &unfit) || unfit.Why != want || unfit.Fit != fit || !strings.Contains(err.Error(), want.String()) {
				t.Errorf("%s by %s: %v, %v; want %v", c.what, fit, p, err, want)
			}
		}
	}
}

func TestGroupsThatCannotBeAreRefused(t *testing.T) {
	bad := append(rats(t), stats.Share{X: 1, N: 0})
	var unfit *stats.UnfitError
	if _, err := stats.MomentFit(bad); err == nil || errors.As(err, &unfit) {
		t.Errorf("moments of 1 in 0: %v", err)
	}
	if _, err := stats.LikelihoodFit(bad); err == nil || errors.As(err, &unfit) {
		t.Errorf("likelihood of 1 in 0: %v", err)
	}
	for _, s := range []stats.Share{{X: -1, N: 2}, {X: 3, N: 2}, {X: 0, N: -1}} {
		if _, err := (stats.Prior{A: 1, B: 1}).Of(s); err == nil {
			t.Errorf("the rate of %v was shrunk", s)
		}
	}
	for _, p := range []stats.Prior{{}, {A: 1}, {A: math.NaN(), B: 1}, {A: math.Inf(1), B: 1}} {
		if _, err := p.Of(stats.Share{X: 1, N: 2}); err == nil {
			t.Errorf("a rate was shrunk by %v", p)
		}
	}
}

// A top is a place that no step around it is above. The likelihood is made from
// log gamma functions here, and from sums of logarithms in the code.
func TestTheLikelihoodFitStandsOnATop(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		groups := drawGroups(rt)
		p, err := stats.LikelihoodFit(groups)
		var unfit *stats.UnfitError
		if errors.As(err, &unfit) {
			checkNoTop(rt, groups, unfit.Why)
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		top := likelihood(groups, p)
		if l, weight := highest(groups); l > top+1e-3 {
			rt.Fatalf("%v has %.9f, the mean rate with a weight of %v has %.9f", p, top, weight, l)
		}
		for _, a := range []float64{0.1, 0.8, 0.99, 1, 1.01, 1.25, 10} {
			for _, b := range []float64{0.1, 0.8, 0.99, 1, 1.01, 1.25, 10} {
				if other := likelihood(groups, stats.Prior{A: p.A * a, B: p.B * b}); other > top+1e-7 {
					rt.Fatalf("%v has %.9f, %v times %v and %v has %.9f", p, top, p, a, b, other)
				}
			}
		}
	})
}

// Ours, found by drawing groups: a few small groups differ widely and the large
// ones do not, and the likelihood has two tops.
func TestTheLikelihoodFitTakesTheHigherOfTwoTops(t *testing.T) {
	groups := []stats.Share{{X: 0, N: 4}, {X: 39, N: 117}, {X: 1, N: 4}, {X: 3, N: 3}, {X: 3, N: 3}, {X: 39, N: 87}}
	p := must[stats.Prior](t)(stats.LikelihoodFit(groups))
	height, weight := highest(groups)
	if top := likelihood(groups, p); top < height-1e-9 {
		t.Errorf("%v has %.6f, the mean rate with a weight of %v has %.6f", p, top, weight, height)
	}
	// Here the second top is groups all alike, and higher than that of the loose prior.
	groups = []stats.Share{{X: 3, N: 3}, {X: 3, N: 6}, {X: 1, N: 8}, {X: 13, N: 18}, {X: 134, N: 256}}
	var unfit *stats.UnfitError
	if p, err := stats.LikelihoodFit(groups); !errors.As(err, &unfit) || unfit.Why != stats.NoSpread {
		t.Errorf("%v, %v; want %v", p, err, stats.NoSpread)
	}
}

// Ours, found by drawing groups: rounding makes the top look like the way down.
func TestTheLikelihoodFitEndsWhereRoundingHidesTheTop(t *testing.T) {
	groups := []stats.Share{{X: 1, N: 1}, {X: 1, N: 1}, {X: 1, N: 1}, {X: 0, N: 2}, {X: 1, N: 3}}
	p := must[stats.Prior](t)(stats.LikelihoodFit(groups))
	if height, weight := highest(groups); likelihood(groups, p) < height-1e-7 {
		t.Errorf("%v is %v below the mean rate with a weight of %v", p, height-likelihood(groups, p), weight)
	}
}

// checkNoTop holds that priors get better all the way to groups all alike, or
// that no group lies between none and all.
func checkNoTop(rt *rapid.T, groups []stats.Share, why stats.Unfit) {
	between := false
	for _, g := range groups {
		between = between || g.X > 0 && g.X < g.N
	}
	switch why {
	case stats.AllOrNothing:
		if between {
			rt.Fatalf("called all or nothing: %v", groups)
		}
	case stats.NoSpread:
		if l, weight := highest(groups); weight < 1e5 && l > likelihood(groups, meanPrior(groups, 1e5))+1e-3 {
			rt.Fatalf("called all alike, but a weight of %v is best: %v", weight, groups)
		}
	default:
		rt.Fatalf("%v: %v", why, groups)
	}
}

// highest goes through the weights of a prior at the mean rate.
func highest(groups []stats.Share) (height, weight float64) {
	height = math.Inf(-1)
	for w := 0.1; w < 1e5; w *= 1.3 {
		if l := likelihood(groups, meanPrior(groups, w)); l > height {
			height, weight = l, w
		}
	}
	return height, weight
}

func meanPrior(groups []stats.Share, weight float64) stats.Prior {
	with, all := 0.0, 0.0
	for _, g := range groups {
		with, all = with+float64(g.X), all+float64(g.N)
	}
	return stats.Prior{A: weight * with / all, B: weight * (1 - with/all)}
}

func drawGroups(rt *rapid.T) []stats.Share {
	most := rapid.SampledFrom([]int{1, 3, 20, 400}).Draw(rt, "most")
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) stats.Share {
		n := rapid.IntRange(1, most).Draw(t, "n")
		return stats.Share{X: rapid.IntRange(0, n).Draw(t, "x"), N: n}
	}), 5, 30).Draw(rt, "groups")
}

func likelihood(groups []stats.Share, p stats.Prior) float64 {
	sum := 0.0
	for _, g := range groups {
		sum += lnBeta(p.A+float64(g.X), p.B+float64(g.N-g.X)) - lnBeta(p.A, p.B)
	}
	return sum
}

func lnBeta(a, b float64) float64 {
	x, _ := math.Lgamma(a)
	y, _ := math.Lgamma(b)
	z, _ := math.Lgamma(a + b)
	return x + y - z
}

func BenchmarkLikelihoodFitOfTheRats(b *testing.B) {
	groups := rats(b)
	for b.Loop() {
		if _, err := stats.LikelihoodFit(groups); err != nil {
			b.Fatal(err)
		}
	}
}
