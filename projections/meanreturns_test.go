package projections_test

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"testing"

	"oldhand/events"
	"oldhand/projections"
	"oldhand/projections/stats"

	"pgregory.net/rapid"
)

// plainReturn is a unit that was shipped, as the plain way beside the answer knows it.
type plainReturn struct {
	unit    projections.OftenRow // only what names it
	watched stats.Watched
	p, mean float64
}

// returnsOf goes through all histories: the way that come-backs were answered by
// before their days stood in tallies.
func returnsOf(t fataler, r projections.Reader, asOf events.Day) (all []plainReturn) {
	err := projections.EachHistory(r, func(h *projections.History) (bool, error) {
		first, shipped := events.Day(0), false
		var w stats.Watched
		for _, v := range h.Visits {
			switch {
			case shipped && v.Received.Precision != events.Unknown:
				w.Repairs = append(w.Repairs, max(0, int(v.Received.Day-first)))
			case !shipped && v.End == projections.Ended && v.Shipped.Precision != events.Unknown:
				first, shipped = v.Shipped.Day, true
			}
		}
		if w.End = max(0, int(asOf-first)); shipped {
			r := plainReturn{unit: projections.OftenRow{Unit: h.Root.String(), Maker: h.Maker, Model: h.Model}, watched: w}
			if len(h.Tags) > 0 {
				r.unit.Tag = h.Tags[0]
			}
			all = append(all, r)
		}
		return true, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// returnsPlainly are the rows about units that the plain way gives: every unit by itself,
// and each one's square in the robust variance.
func returnsPlainly(t fataler, all []plainReturn) (means []projections.MeanReturnsRow, often []projections.OftenRow) {
	var sets []stats.Watched
	for _, r := range all {
		sets = append(sets, r.watched)
	}
	if len(sets) == 0 {
		return nil, nil
	}
	curve, err := stats.MeanCumulative(sets)
	if err != nil {
		t.Fatal(err)
	}
	for _, age := range []int{90, 365, 730, 1825, 3650} {
		at, err := curve.At(age)
		if err != nil || at.Mean == 0 {
			continue
		}
		n := 0
		for _, s := range sets {
			if s.End >= age {
				n++
			}
		}
		means = append(means, projections.MeanReturnsRow{Age: age, Units: n, Mean: at.Mean, SE: at.RobustSE})
	}
	var many []plainReturn
	var ps []float64
	for _, r := range all {
		at, err := curve.At(r.watched.End)
		if err != nil || len(r.watched.Repairs) < 2 {
			continue
		}
		below, term := 0.0, math.Exp(-at.Mean)
		for i := range r.watched.Repairs {
			below, term = below+term, term*at.Mean/float64(i+1)
		}
		r.mean, r.p = at.Mean, max(0, 1-below)
		many, ps = append(many, r), append(ps, r.p)
	}
	adjusted, err := stats.BenjaminiHochbergAmong(ps, nil, len(sets))
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range many {
		if adjusted[i] <= 0.05 {
			row := r.unit
			row.Returns, row.Expected, row.P, row.Adjusted = len(r.watched.Repairs), r.mean, r.p, adjusted[i]
			often = append(often, row)
		}
	}
	slices.SortFunc(often, func(a, b projections.OftenRow) int { return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(a.Unit, b.Unit)) })
	return means, often[:min(len(often), 20)]
}

// sameReturns compares an answer's rows about units with those of the plain way.
func sameReturns(t fataler, m *memory, asOf events.Day) (often int) {
	var means []projections.MeanReturnsRow
	var named []projections.OftenRow
	q, _ := projections.FindQuestion("comebacks")
	res, err := projections.Ask(m, q, projections.Asked{AsOf: asOf})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range res.Rows {
		switch r := r.(type) {
		case projections.MeanReturnsRow:
			means = append(means, r)
		case projections.OftenRow:
			named = append(named, r)
		}
	}
	wantMeans, wantNamed := returnsPlainly(t, returnsOf(t, m, asOf))
	if len(means) != len(wantMeans) || len(named) != len(wantNamed) {
		t.Fatal(fmt.Sprintf("as of %s %d means and %d units, want %d and %d", asOf, len(means), len(named), len(wantMeans), len(wantNamed)))
	}
	for i, w := range wantMeans {
		g := means[i]
		if g.Age != w.Age || g.Units != w.Units || apart(g.Mean, w.Mean) || apart(g.SE*g.SE, w.SE*w.SE) ||
			apart(g.Low, max(0, g.Mean-normal975*g.SE)) || apart(g.High, g.Mean+normal975*g.SE) {
			t.Fatal(fmt.Sprintf("as of %s mean %+v, want %+v", asOf, g, w))
		}
	}
	for i, w := range wantNamed {
		g := named[i]
		if g.Unit != w.Unit || g.Tag != w.Tag || g.Maker != w.Maker || g.Model != w.Model || g.Returns != w.Returns || apart(g.Expected, w.Expected) || apart(g.P, w.P) || apart(g.Adjusted, w.Adjusted) {
			t.Fatal(fmt.Sprintf("as of %s unit %+v, want %+v", asOf, g, w))
		}
	}
	return len(named)
}

// normal975 is the value below which 97.5 % of a normal variable lie (from memory).
const normal975 = 1.959963984540054

func apart(a, b float64) bool { return math.Abs(a-b) > 1e-12*max(1, math.Abs(a), math.Abs(b)) }

// Source: the definition, unit by unit (facts.md 2, Lawless and Nadeau), by the way
// through all histories; within 1e-12, whatever day it is asked for. Variances are
// compared and not errors: where all units are alike, rounding leaves the plain way
// 1e-15 of a variance of nothing.
func TestReturnsCountedByDaysAreThoseOfEachUnit(t *testing.T) {
	often := 0
	rapid.Check(t, func(rt *rapid.T) {
		often += returnsAreThoseOfEachUnit(rt, newStory(t), func(int) *rapid.Generator[int] {
			return rapid.SampledFrom([]int{1, 1, 1, 1, 1, 2, 2, 3, 7})
		})
	})
	if often == 0 {
		t.Error("no unit ever came back too often: nothing was compared")
	}
}

// The same where a unit has more returns than stand in tallies two by two.
func TestReturnsOfAUnitWithVeryManyAreThoseOfEachUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		returnsAreThoseOfEachUnit(rt, newStory(t), func(unit int) *rapid.Generator[int] {
			return rapid.IntRange(choose(unit == 0, 30, 1), choose(unit == 0, 40, 2))
		})
	})
}

// The same where more units are alike, and one was back more often, than a byte counts.
func TestReturnsOfUnitsAlikeAreThoseOfEachUnit(t *testing.T) {
	s := newStory(t)
	for u := range 131 {
		name := fmt.Sprint("unit", u)
		s.tell(1, name, name, "", 0, events.Received{Maker: "Ostrel", Model: "R-950"})
		s.tell(1, name+"s", name, name, 3, events.Shipped{Outcome: "repaired"})
		for v := range choose(u == 0, 130, 2) {
			s.tell(1, fmt.Sprint(name, "-", v), name, "", 10*(v+1), events.Received{Maker: "Ostrel", Model: "R-950"})
		}
	}
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		t.Fatal(err)
	}
	if often := sameReturns(t, m, 23_000); often != 1 {
		t.Errorf("%d units too often, want the one", often)
	}
}

func choose(so bool, yes, no int) int {
	if so {
		return yes
	}
	return no
}

// returnsAreThoseOfEachUnit tells of units with as many visits as visits draws, and says
// how many came back too often.
func returnsAreThoseOfEachUnit(rt *rapid.T, s *story, visits func(unit int) *rapid.Generator[int]) (often int) {
	last := 0
	for u := range rapid.IntRange(1, 15).Draw(rt, "units") {
		name, day := fmt.Sprint("unit", u), rapid.IntRange(0, 4000).Draw(rt, "first day")
		for v := range visits(u).Draw(rt, "visits") {
			visit := name
			if v > 0 {
				visit = fmt.Sprint(name, "-", v)
			}
			s.tell(1, visit, name, "", day, events.Received{Maker: "Ostrel", Model: "R-950", Tag: strconv.Itoa(1000 + u%3 + 10*v)})
			day += rapid.IntRange(0, 9).Draw(rt, "days in shop")
			s.tell(1, visit+"s", name, visit, day, events.Shipped{Outcome: "repaired"})
			last = max(last, day)
			day += rapid.SampledFrom([]int{0, 1, 15, 90, 91, 400, 3650}).Draw(rt, "days away")
		}
	}
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		rt.Fatal(err)
	}
	for _, later := range []int{0, 89, 3650} {
		often += sameReturns(rt, m, events.Day(20_000+last+later))
	}
	return often
}

// The same with joins, corrections and days that nobody knows.
func TestReturnsOfTangledUnitsAreThoseOfEachUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt)
		for range rapid.IntRange(1, 60).Draw(rt, "events") {
			w.step()
		}
		m := newMemory()
		if err := m.add(w.all...); err != nil {
			rt.Fatal(err)
		}
		sameReturns(rt, m, afterAll)
	})
}

// What a tally keeps is what the histories give, row by row and count by count, in
// blocks or not; and no key of a tally in blocks begins with another, so that rows
// come in order.
func TestTalliesInBlocksAreTheRowsOfTheHistories(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt)
		for range rapid.IntRange(1, 60).Draw(rt, "events") {
			w.step()
		}
		m := newMemory()
		for _, e := range rapid.Permutation(w.all).Draw(rt, "order") {
			if err := m.add(e); err != nil {
				rt.Fatal(err)
			}
		}
		for _, q := range projections.Questions {
			kept, inOrder := projections.TallyOf(m, q.Name)
			if want := projections.RowsOf(m, q.Name); !inOrder || !mapsEqual(kept, want) {
				rt.Fatalf("%s: in order: %v\nkept %v\nwant %v", q.Name, inOrder, kept, want)
			}
		}
	})
}

func mapsEqual(a, b map[string]int) bool {
	if len(a) != len(b) {
		return false
	}
	for k, n := range a {
		if b[k] != n {
			return false
		}
	}
	return true
}

// A block that was cut off or that nobody wrote is an error and no answer.
func TestABlockThatDoesNotReadIsAnError(t *testing.T) {
	s := newStory(t)
	s.tell(1, "a", "a", "", 0, events.Received{Maker: "Ostrel", Model: "R-950"})
	s.tell(1, "s", "a", "a", 3, events.Shipped{Outcome: "repaired"})
	s.tell(1, "b", "a", "", 60, events.Received{Maker: "Ostrel", Model: "R-950"})
	s.tell(1, "c", "a", "", 60, events.Received{Maker: "Ostrel", Model: "R-950"})
	s.tell(1, "x", "x", "", 1000, events.Received{Maker: "Ostrel", Model: "R-950"})
	s.tell(1, "y", "x", "x", 1003, events.Shipped{Outcome: "repaired"})
	for v := range 33 {
		s.tell(1, fmt.Sprint("x", v), "x", "", 1060+v, events.Received{Maker: "Ostrel", Model: "R-950"})
	}
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		t.Fatal(err)
	}
	q, _ := projections.FindQuestion("comebacks")
	for k, v := range m.views {
		if k[0] != 't' || k[1] != q.ID || k[2] == 'o' && k[6] == 2 {
			continue // a unit that was back twice is not named here
		}
		for n := range v {
			m.views[k] = v[:n]
			_, err := projections.Ask(m, q, projections.Asked{AsOf: afterAll + 1000})
			if !betweenRows(v, n) && err == nil {
				t.Errorf("%q cut to %d of %d bytes was read", k, n, len(v))
			}
		}
		m.views[k] = []byte{0xff, 0xff}
		if _, err := projections.Ask(m, q, projections.Asked{AsOf: afterAll + 1000}); !errors.Is(err, projections.ErrView) {
			t.Errorf("%q with bytes that are none of ours: %v", k, err)
		}
		m.views[k] = v
	}
}

// betweenRows reports whether a block, of short rows and small counts, has only whole
// rows up to a place.
func betweenRows(block []byte, place int) bool {
	at := 0
	for at < place {
		at += 2 + int(block[at])
	}
	return at == place
}

// Every step that an answer draws has the limits that the curve has there, on days
// with an event and on those between.
func TestAnAnswersStepsHaveTheLimitsOfTheirDay(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, m := newStory(t), newMemory()
		var counts []stats.DayCount
		for u := range rapid.IntRange(1, 12).Draw(rt, "units") {
			name, days := fmt.Sprint("unit", u), rapid.IntRange(0, 9).Draw(rt, "days")
			open := rapid.IntRange(0, 3).Draw(rt, "open") == 0
			s.tell(1, name, name, "", 100-days, events.Received{Maker: "Ostrel", Model: "R-950"})
			if open {
				counts = append(counts, stats.DayCount{Day: days, Censored: 1})
				continue
			}
			s.tell(1, name+"s", name, name, 100, events.Shipped{Outcome: "repaired"})
			counts = append(counts, stats.DayCount{Day: days, Events: 1})
		}
		if err := m.add(s.all...); err != nil {
			rt.Fatal(err)
		}
		q, _ := projections.FindQuestion("turnaround")
		res, err := projections.Ask(m, q, projections.Asked{AsOf: 20_100})
		if err != nil {
			rt.Fatal(err)
		}
		curve, err := stats.KaplanMeier(counts)
		if err != nil {
			rt.Fatal(err)
		}
		var drawn projections.PictureCurve
		for _, c := range curve.Steps() {
			low, high := -1.0, -1.0
			limits, ok := c.Limits(stats.Level{})
			if ok {
				low, high = limits.Lo, limits.Hi
			}
			if c.Events > 0 {
				drawn.Steps = append(drawn.Steps, projections.CurveStep{float64(c.Day), c.S, low, high, float64(c.AtRisk)})
			}
			drawn.Watched = append(drawn.Watched, projections.PictureWatched{Day: int32(c.Day), Left: int32(c.AtRisk)})
		}
		if got := res.Picture.Curves[0]; !slices.Equal(got.Steps, drawn.Steps) || !slices.Equal(got.Watched, drawn.Watched) {
			rt.Fatalf("drawn as %+v, want %+v", got, drawn)
		}
		if got := res.Rows[0].(projections.TurnaroundRow).Steps; !slices.Equal(got, drawn.Steps) {
			rt.Fatalf("steps %v, want %v", got, drawn.Steps)
		}
	})
}
