package stats_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"oldhand/projections/stats"
)

// cases reads those of a data table whose column holds a value, or all of them
// where no column is given.
func cases(t testing.TB, name, column, value string) []stats.Case {
	t.Helper()
	var all []stats.Case
	for _, row := range rows(t, name) {
		if column == "" || row[column] == value {
			all = append(all, stats.Case{Day: whole(t, row["time"]), Event: row["status"] == "1"})
		}
	}
	return all
}

// dataset finds the cases that a name of km_summary.csv stands for.
func dataset(t testing.TB, name string) []stats.Case {
	t.Helper()
	switch name {
	case "leukemia_6mp":
		return cases(t, "km_leukemia_data", "group", "6-MP")
	case "leukemia_placebo":
		return cases(t, "km_leukemia_data", "group", "placebo")
	case "aml_maintained":
		return cases(t, "km_aml_data", "group", "Maintained")
	case "aml_nonmaintained":
		return cases(t, "km_aml_data", "group", "Nonmaintained")
	case "ovarian_all":
		return cases(t, "km_ovarian_data", "", "")
	case "ovarian_rx1":
		return cases(t, "km_ovarian_data", "rx", "1")
	case "ovarian_rx2":
		return cases(t, "km_ovarian_data", "rx", "2")
	case "lung_all":
		return cases(t, "km_lung_data", "", "")
	}
	t.Fatalf("no data set %q", name)
	return nil
}

var datasets = []string{"leukemia_6mp", "leukemia_placebo", "aml_maintained", "aml_nonmaintained",
	"ovarian_all", "ovarian_rx1", "ovarian_rx2", "lung_all"}

func curve(t testing.TB, all []stats.Case) stats.Curve {
	t.Helper()
	return must[stats.Curve](t)(stats.KaplanMeier(stats.CountCases(all)))
}

// Source: km_*_expected.csv, R survival 3.5-3, survfit with conf.type log-log.
func TestEveryStepOfThePublishedCurvesIsMet(t *testing.T) {
	for _, name := range datasets {
		steps := curve(t, dataset(t, name)).Steps()
		want := rows(t, "km_"+name+"_expected")
		if len(steps) != len(want) {
			t.Fatalf("%s: %d steps, want %d", name, len(steps), len(want))
		}
		for i, row := range want {
			checkStep(t, fmt.Sprintf("%s at %s", name, row["time"]), steps[i], row)
		}
	}
}

func checkStep(t *testing.T, what string, s stats.Step, row map[string]string) {
	t.Helper()
	got := [4]int{s.Day, s.AtRisk, s.Events, s.Censored}
	want := [4]int{whole(t, row["time"]), whole(t, row["n_risk"]), whole(t, row["n_event"]), whole(t, row["n_censor"])}
	if got != want {
		t.Errorf("%s: day, at risk, events, censored %v, want %v", what, got, want)
	}
	printed(t, what+": S", s.S, row["surv"])
	se, ok := s.SE()
	blankOr(t, what+": SE", se, ok, row["se_greenwood"])
	limits, ok := s.Limits(stats.Level{})
	blankOr(t, what+": lower", limits.Lo, ok, row["lower_loglog"])
	blankOr(t, what+": upper", limits.Hi, ok, row["upper_loglog"])
}

// Source: km_summary.csv, R's quantile.survfit and summary with rmean.
func TestQuantilesAndRestrictedMeansOfThePublishedCurvesAreMet(t *testing.T) {
	for _, row := range rows(t, "km_summary") {
		all := dataset(t, row["dataset"])
		what := row["dataset"] + " " + row["quantity"] + " " + row["tau"]
		if len(all) != whole(t, row["n"]) {
			t.Errorf("%s: %d cases, want %s", what, len(all), row["n"])
		}
		if p, isQuantile := strings.CutPrefix(row["quantity"], "quantile_"); isQuantile {
			q := must[stats.CurveQuantile](t)(curve(t, all).Quantile(number(t, p), stats.Level{}))
			blankOr(t, what, q.Estimate.Day, q.Estimate.Reached, row["estimate"])
			blankOr(t, what+": lower", q.Lower.Day, q.Lower.Reached, row["lower95"])
			blankOr(t, what+": upper", q.Upper.Day, q.Upper.Reached, row["upper95"])
			continue
		}
		m := must[stats.RestrictedMean](t)(curve(t, all).RestrictedMean(whole(t, row["tau"])))
		printed(t, what, m.Days, row["estimate"])
		printed(t, what+": SE", m.SE, row["se"])
	}
}

// Source: R 4.2.2 survival, the spot value of facts.md 1 (leukemia 6-MP, S(10)).
func TestTheCurveCanBeReadBetweenItsSteps(t *testing.T) {
	c := curve(t, dataset(t, "leukemia_6mp"))
	for _, day := range []int{10, 12} { // the curve is flat from 10 to 13
		p := must[stats.Point](t)(c.At(day))
		near(t, "S", p.S, 0.7529412)
		se, _ := p.SE()
		near(t, "SE", se, 0.0963497)
		limits, _ := p.Limits(stats.Level{})
		near(t, "lower", limits.Lo, 0.5031995)
		near(t, "upper", limits.Hi, 0.8893618)
	}
	if p := must[stats.Point](t)(c.At(12)); p.AtRisk != 12 { // those of day 13 and later, in the table
		t.Errorf("%d at risk on day 12, want 12", p.AtRisk)
	}
	if p := must[stats.Point](t)(c.At(5)); p.S != 1 || p.AtRisk != 21 {
		t.Errorf("before the first event: S %v with %d at risk, want 1 with 21", p.S, p.AtRisk)
	}
}

// Source: R's summary.survfit gives nothing after the last time, and
// libraries.md: draw nothing past the last observation.
func TestNothingIsSaidAfterTheLastObservationOfAnOpenCurve(t *testing.T) {
	open, closed := curve(t, dataset(t, "leukemia_6mp")), curve(t, dataset(t, "leukemia_placebo"))
	var past *stats.PastLastError
	if _, err := open.At(36); !errors.As(err, &past) || past.Last != 35 {
		t.Errorf("S(36) after a last censoring at 35: %v", err)
	}
	if _, err := open.RestrictedMean(36); !errors.As(err, &past) || past.Asked != 36 {
		t.Errorf("restricted mean to 36 after a last censoring at 35: %v", err)
	}
	p := must[stats.Point](t)(closed.At(1000))
	if p.S != 0 || p.AtRisk != 0 {
		t.Errorf("after all had the event: S %v with %d at risk, want 0 with 0", p.S, p.AtRisk)
	}
	// R: leukemia placebo, tau 23, facts.md 1; the area after the curve is down is none.
	m := must[stats.RestrictedMean](t)(closed.RestrictedMean(1000))
	near(t, "restricted mean", m.Days, 8.666667)
	near(t, "its SE", m.SE, 1.377390)
}

// Source: R, the edge cases of facts.md 1.
func TestFourEventsAlone(t *testing.T) {
	c := curve(t, []stats.Case{{1, true}, {2, true}, {3, true}, {4, true}})
	for p, want := range map[float64]float64{0.25: 1.5, 0.5: 2.5, 0.75: 3.5} {
		q := must[stats.CurveQuantile](t)(c.Quantile(p, stats.Level{}))
		near(t, fmt.Sprint("quantile ", p), q.Estimate.Day, want)
	}
	m := must[stats.RestrictedMean](t)(c.RestrictedMean(4))
	near(t, "restricted mean", m.Days, 2.5)
	near(t, "its SE", m.SE, 0.5590170)
}

// Source: R, the edge cases of facts.md 1.
func TestAnEventComesBeforeACensoringOfTheSameDay(t *testing.T) {
	c := curve(t, []stats.Case{{5, false}, {5, true}, {8, false}})
	p := must[stats.Point](t)(c.At(5))
	near(t, "S(5)", p.S, 0.6666667)
	se, _ := p.SE()
	near(t, "SE", se, 0.2721655)
	limits, _ := p.Limits(stats.Level{})
	near(t, "lower", limits.Lo, 0.05407343)
	near(t, "upper", limits.Hi, 0.9452064)
	q := must[stats.CurveQuantile](t)(c.Quantile(0.25, stats.Level{}))
	near(t, "quartile", q.Estimate.Day, 5)
	q = must[stats.CurveQuantile](t)(c.Quantile(0.5, stats.Level{}))
	if q.Estimate.Reached {
		t.Errorf("median %v, want not reached", q.Estimate.Day)
	}
	m := must[stats.RestrictedMean](t)(c.RestrictedMean(8))
	near(t, "restricted mean", m.Days, 7)
	near(t, "its SE", m.SE, 0.8164966)
}

// Source: R, the edge cases of facts.md 1.
func TestACurveOfCensoredCasesStaysAtOneWithoutLimits(t *testing.T) {
	c := curve(t, []stats.Case{{3, false}, {9, false}})
	p := must[stats.Point](t)(c.At(9))
	se, seOK := p.SE()
	_, limitsOK := p.Limits(stats.Level{})
	q := must[stats.CurveQuantile](t)(c.Quantile(0.5, stats.Level{}))
	if p.S != 1 || se != 0 || !seOK || limitsOK || q.Estimate.Reached {
		t.Errorf("S %v, SE %v (%v), limits %v, median %v", p.S, se, seOK, limitsOK, q.Estimate)
	}
}

// Source: R, the edge cases of facts.md 1.
func TestOneCaseHasAMedianAndNoLimits(t *testing.T) {
	q := must[stats.CurveQuantile](t)(curve(t, []stats.Case{{7, true}}).Quantile(0.5, stats.Level{}))
	want := stats.CurveQuantile{Estimate: stats.Reach{Day: 7, Reached: true}}
	if q != want {
		t.Errorf("median %v, want %v", q, want)
	}
}

// By hand: of twelve cases, one a day, half are left after six, and any day from
// 6 to 7 is a median. In floats the product of 11/12, 10/11 and so on comes out
// just below a half, and that of twenty-four cases just above (facts.md 1 on R's
// tolerance).
func TestAHeightThatDriftedIsStillMet(t *testing.T) {
	for _, n := range []int{12, 24} {
		var all []stats.Case
		for day := 1; day <= n; day++ {
			all = append(all, stats.Case{Day: day, Event: true})
		}
		c := curve(t, all)
		if p := must[stats.Point](t)(c.At(n / 2)); p.S == 0.5 {
			t.Errorf("of %d cases: S is a half to the last digit, which tests nothing", n)
		}
		q := must[stats.CurveQuantile](t)(c.Quantile(0.5, stats.Level{}))
		near(t, "median", q.Estimate.Day, float64(n/2)+0.5)
	}
}

// Ours: where the flat at the height has no end, its first day is what is known.
func TestAFlatThatNeverEndsAnswersWithItsFirstDay(t *testing.T) {
	q := must[stats.CurveQuantile](t)(curve(t, []stats.Case{{4, true}, {9, false}}).Quantile(0.5, stats.Level{}))
	near(t, "median", q.Estimate.Day, 4)
}

func TestCountsThatCannotBeAreRefused(t *testing.T) {
	for what, counts := range map[string][]stats.DayCount{
		"day": {{Day: -1, Events: 1}}, "events": {{Day: 1, Events: -1}}, "censored": {{Day: 1, Censored: -1}},
	} {
		if _, err := stats.KaplanMeier(counts); err == nil || !strings.Contains(err.Error(), "below zero") {
			t.Errorf("%s below zero: %v", what, err)
		}
	}
	for what, counts := range map[string][]stats.DayCount{"none": nil, "only empty": {{Day: 4}}} {
		if _, err := stats.KaplanMeier(counts); !errors.Is(err, stats.ErrNoCases) {
			t.Errorf("%s: %v", what, err)
		}
	}
	c := curve(t, []stats.Case{{7, true}})
	if _, err := c.At(-1); err == nil {
		t.Error("day -1 was answered")
	}
	if _, err := c.RestrictedMean(0); err == nil {
		t.Error("a restricted mean up to day 0 was given")
	}
	for _, p := range []float64{0, 1, -1, 2} {
		if _, err := c.Quantile(p, stats.Level{}); err == nil {
			t.Errorf("quantile %v was given", p)
		}
	}
}

func drawCounts(rt *rapid.T, label string) []stats.DayCount {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) stats.DayCount {
		return stats.DayCount{
			Day:      rapid.IntRange(0, 30).Draw(t, "day"),
			Events:   rapid.IntRange(0, 4).Draw(t, "events"),
			Censored: rapid.IntRange(0, 4).Draw(t, "censored"),
		}
	}), 0, 25).Draw(rt, label)
}

// spread lists the cases that counts stand for.
func spread(counts []stats.DayCount) []stats.Case {
	var all []stats.Case
	for _, c := range counts {
		for range c.Events {
			all = append(all, stats.Case{Day: c.Day, Event: true})
		}
		for range c.Censored {
			all = append(all, stats.Case{Day: c.Day})
		}
	}
	return all
}

func TestCountsInAnyOrderGiveTheCurveOfTheirCases(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		counts := drawCounts(rt, "counts")
		before := append([]stats.DayCount(nil), counts...)
		grouped, err := stats.KaplanMeier(counts)
		single, errSingle := stats.KaplanMeier(stats.CountCases(spread(counts)))
		if (err == nil) != (errSingle == nil) {
			rt.Fatalf("%v for counts, %v for cases", err, errSingle)
		}
		if got, want := fmt.Sprint(grouped.Steps()), fmt.Sprint(single.Steps()); got != want {
			rt.Fatalf("counts give %s, cases %s", got, want)
		}
		if fmt.Sprint(counts) != fmt.Sprint(before) {
			rt.Fatal("the caller's counts were changed")
		}
	})
}

func TestACurveNeverRisesAndItsLimitsHoldIt(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c, err := stats.KaplanMeier(drawCounts(rt, "counts"))
		if err != nil {
			rt.Skip("no cases")
		}
		level, err := stats.Confidence(rapid.Float64Range(0.5, 0.999).Draw(rt, "level"))
		if err != nil {
			rt.Fatal(err)
		}
		before := 1.0
		for _, s := range c.Steps() {
			if !(s.S >= 0 && s.S <= before) {
				rt.Fatalf("S %v at day %d after %v", s.S, s.Day, before)
			}
			before = s.S
			if l, ok := s.Limits(level); ok && !(0 <= l.Lo && l.Lo <= s.S && s.S <= l.Hi && l.Hi <= 1) {
				rt.Fatalf("limits %v of S %v", l, s.S)
			}
			if se, ok := s.SE(); ok && !(se >= 0 && se <= 1) {
				rt.Fatalf("SE %v of S %v", se, s.S)
			}
		}
	})
}

// manyDays is thirty years of days with a few cases on each.
func manyDays() []stats.DayCount {
	counts := make([]stats.DayCount, 11000)
	for i := range counts {
		counts[i] = stats.DayCount{Day: i, Events: i % 3, Censored: 1 + i%2}
	}
	return counts
}

func BenchmarkKaplanMeierOfElevenThousandDays(b *testing.B) {
	counts := manyDays()
	for b.Loop() {
		if _, err := stats.KaplanMeier(counts); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkKaplanMeierWithMedianLimitsAndMean(b *testing.B) {
	counts := manyDays()
	for b.Loop() {
		c, err := stats.KaplanMeier(counts)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := c.Quantile(0.5, stats.Level{}); err != nil {
			b.Fatal(err)
		}
		if _, err := c.RestrictedMean(5000); err != nil {
			b.Fatal(err)
		}
	}
}

// The model beside it is the curve made of counts, which is held against published ones:
// not a digit may differ.
func TestADailyCurveIsTheCurveOfItsCounts(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		list := rapid.SliceOfN(rapid.OneOf(rapid.Just(0), rapid.IntRange(0, 4)), 0, 30)
		events, censored := list.Draw(rt, "events"), list.Draw(rt, "censored")
		var counts []stats.DayCount
		for day := range 30 {
			c := stats.DayCount{Day: day}
			if day < len(events) {
				c.Events = events[day]
			}
			if day < len(censored) {
				c.Censored = censored[day]
			}
			counts = append(counts, c)
		}
		want, wrong := stats.KaplanMeier(counts)
		got, err := stats.DailyKaplanMeier(events, censored)
		if (err == nil) != (wrong == nil) || err != nil && !errors.Is(err, stats.ErrNoCases) {
			rt.Fatalf("%v, want %v", err, wrong)
		}
		if err != nil {
			return
		}
		steps, moves := got.Len()
		wantSteps, wantMoves := want.Len()
		if !slices.Equal(slices.Collect(got.All()), want.Steps()) || steps != wantSteps || moves != wantMoves {
			rt.Fatalf("%d steps, %d with an event, %v, want %d, %d, %v", steps, moves, slices.Collect(got.All()), wantSteps, wantMoves, want.Steps())
		}
		for day := -1; day < 33; day++ {
			p, err := got.At(day)
			q, wrong := want.At(day)
			if p != q || fmt.Sprint(err) != fmt.Sprint(wrong) {
				rt.Fatalf("day %d: %+v, %v, want %+v, %v", day, p, err, q, wrong)
			}
		}
	})
}

func TestADailyCurveOfLessThanNothingIsRefused(t *testing.T) {
	for _, lists := range [][2][]int{{{-1}, {2}}, {{2}, {0, -1}}} {
		if _, err := stats.DailyKaplanMeier(lists[0], lists[1]); err == nil {
			t.Errorf("%v was taken", lists)
		}
	}
}
