package projections

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"oldhand/events"
	"oldhand/projections/stats"
)

// ComeBackRow is one row of the answer: how many visits were followed by
// another of the same unit.
type ComeBackRow struct {
	Fault   string       `json:"fault"` // "any" or "same"
	Days    int          `json:"days"`
	Visits  int          `json:"visits"`  // shipped on a known day
	Returns int          `json:"returns"` // at any time
	Within  int          `json:"within"`  // in those days
	Share   *float64     `json:"share"`   // 1 - S(days); null where nothing was watched so long
	Low     *float64     `json:"low"`
	High    *float64     `json:"high"`
	Steps   [][5]float64 `json:"steps"` // day, share not back, low, high, at risk; limits -1 where undefined
}

// MeanReturnsRow is the mean number of returns of a unit by an age.
type MeanReturnsRow struct {
	Age   int     `json:"days_since_first_shipped"`
	Units int     `json:"units_watched_so_long"`
	Mean  float64 `json:"mean_returns"`
	SE    float64 `json:"robust_se"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// OftenRow is a unit that came back more often than its age explains.
type OftenRow struct {
	Unit     string  `json:"unit"`
	Tag      string  `json:"tag"`
	Maker    string  `json:"maker"`
	Model    string  `json:"model"`
	Returns  int     `json:"returns"`
	Expected float64 `json:"expected"`
	P        float64 `json:"p"`
	Adjusted float64 `json:"adjusted"`
}

// comeBackDays is within how many days a return is a come-back, if it is not
// said. Common practice, no source.
const comeBackDays = 90

// Rows of one shipped visit: that the unit was back after so many days, or not
// since it was shipped; for any fault and for the same. Rows of one unit: at
// which ages it was back, by days since it was first shipped.
const (
	backAny   = 'a'
	backSame  = 's'
	backUnits = 'u'

	backEvent = 'e'
	backNever = 'n'
)

func comeBackRows(h *History, to *rowList) {
	for i, v := range h.Visits {
		if v.End != Ended || v.Shipped.Precision == events.Unknown {
			continue
		}
		to.add(backRow(to.key(backAny), v, h.nextVisit(i, func(*Visit) bool { return true })))
		to.add(backRow(to.key(backSame), v, h.nextVisit(i, v.sharesFault)))
	}
	if w, ok := h.watched(); ok {
		row := to.key(backUnits).num(int(w.from))
		for _, age := range w.ages {
			row = row.num(age)
		}
		if len(w.ages) > 0 {
			row = append(row, h.Root[:]...)
		}
		to.add(row)
	}
}

// backRow goes on with the row of a visit and the next of its unit, if there is one.
func backRow(k rowKey, v Visit, next *Visit) rowKey {
	if next == nil {
		return k.byte(backNever).num(int(v.Shipped.Day))
	}
	return k.byte(backEvent).num(max(0, int(next.Received.Day-v.Shipped.Day)))
}

// nextVisit is the first later visit that began on a known day and is one of
// those looked for.
func (h *History) nextVisit(i int, looked func(*Visit) bool) *Visit {
	for j := i + 1; j < len(h.Visits); j++ {
		if v := &h.Visits[j]; v.Received.Precision != events.Unknown && looked(v) {
			return v
		}
	}
	return nil
}

// sharesFault reports whether a fault of this visit was found at another too. A
// visit with no fault written down has none to come back for.
func (v Visit) sharesFault(other *Visit) bool {
	mine := faultsOf([]Visit{v}, nil)
	return slices.ContainsFunc(faultsOf([]Visit{*other}, nil), func(f fault) bool { return slices.Contains(mine, f) })
}

// watching is a unit's returns from the day it was first shipped.
type watching struct {
	from events.Day
	ages []int
}

func (h *History) watched() (w watching, ok bool) {
	for _, v := range h.Visits {
		switch {
		case ok && v.Received.Precision != events.Unknown:
			w.ages = append(w.ages, max(0, int(v.Received.Day-w.from)))
		case !ok && v.End == Ended && v.Shipped.Precision != events.Unknown:
			w.from, ok = v.Shipped.Day, true
		}
	}
	return w, ok
}

// comeBackAnswer tells how many units come back, how soon, how often in their
// life, and which more often than the others.
func comeBackAnswer(t Tally, a Asked) (*Result, error) {
	days := choose(a.Days > 0, a.Days, comeBackDays)
	res := &Result{Method: fmt.Sprintf("share back within %s as 1 - S(%d), Kaplan-Meier from the day shipped, units not back censored on the day asked for, log-log limits, 95 %%; mean cumulative returns a unit with robust variance (Lawless and Nadeau), plain limits", events.Count(days, "day"), days)}
	for _, kind := range []struct {
		key  byte
		name string
	}{{backAny, "any"}, {backSame, "same"}} {
		row, curve, err := backsOf(t, kind.key, kind.name, days, a.AsOf)
		if err != nil {
			return nil, err
		}
		if row.Visits == 0 {
			continue
		}
		res.Rows = append(res.Rows, row)
		if res.Picture == nil {
			res.Picture = &Picture{Title: "Share of units not back since they were shipped", AxisX: "days since shipped", AxisY: "share not back"}
		}
		curve.Name = kind.name + " fault"
		res.Picture.Curves = append(res.Picture.Curves, curve)
	}
	if len(res.Rows) == 0 {
		return res, nil
	}
	if p, row := res.Picture, res.Rows[0].(ComeBackRow); row.Share != nil {
		p.Desc = fmt.Sprintf("%.1f %% of shipped units were back within %s.", 100**row.Share, events.Count(days, "day"))
	} else {
		p.Desc = fmt.Sprintf("Nothing was watched for %s yet.", events.Count(days, "day"))
	}
	if err := meanReturns(t, a, res); err != nil {
		return nil, err
	}
	if !a.Unit.IsZero() {
		return res, trendNotes(t.Reader(), a, res)
	}
	return res, nil
}

func backsOf(t Tally, kind byte, name string, days int, asOf events.Day) (ComeBackRow, PictureCurve, error) {
	row := ComeBackRow{Fault: name, Days: days, Steps: [][5]float64{}}
	var counts []stats.DayCount
	err := t.Each([]byte{kind}, func(b []byte, n int) (bool, error) {
		if len(b) < 2 {
			return false, errView
		}
		rr := rowReader{b: b[2:]}
		d := rr.num()
		row.Visits += n
		if b[1] == backEvent {
			counts = append(counts, stats.DayCount{Day: d, Events: n})
			row.Returns += n
			row.Within += choose(d <= days, n, 0)
		} else {
			counts = append(counts, stats.DayCount{Day: max(0, int(asOf)-d), Censored: n})
		}
		return true, rr.err()
	})
	if err != nil || row.Visits == 0 {
		return row, PictureCurve{}, err
	}
	curve, err := stats.KaplanMeier(counts)
	if err != nil {
		return row, PictureCurve{}, err
	}
	var turn TurnaroundRow
	picture := steps(curve, &turn)
	row.Steps = append(row.Steps, turn.Steps...)
	if at, err := curve.At(days); err == nil {
		share := 1 - at.S
		row.Share = &share
		if limits, ok := at.Limits(stats.Level{}); ok {
			back := limits.Rest()
			row.Low, row.High = &back.Lo, &back.Hi
		}
	}
	return row, picture, nil
}

// meanAges are the ages at which the mean number of returns is told.
var meanAges = []int{90, 365, 730, 1825, 3650}

// often is a unit with returns.
type often struct {
	root events.UnitID
	ages int // how many returns
	end  int // its age on the day asked for

	expected, p, adjusted float64
}

func meanReturns(t Tally, a Asked, res *Result) error {
	sets, many, err := watchedSets(t, a)
	if err != nil || len(sets) == 0 {
		return err
	}
	curve, err := stats.MeanCumulative(sets)
	if err != nil {
		return err
	}
	for _, age := range meanAges {
		at, err := curve.At(age)
		if err != nil {
			break // no unit was watched so long
		}
		if at.Mean == 0 {
			continue // none was back yet, and limits made of no return would say too much
		}
		limits := at.Limits(stats.Level{})
		res.Rows = append(res.Rows, MeanReturnsRow{age, watchedTo(sets, age), at.Mean, at.RobustSE, max(0, limits.Lo), limits.Hi})
	}
	return oftenRows(t.Reader(), curve, many, watchedTo(sets, 0), res)
}

// watchedSets are the units that were shipped, with the ages of their returns,
// and those of them that came back twice or more.
func watchedSets(t Tally, a Asked) (sets []stats.Watched, many []often, err error) {
	var ages []int // all of them, one behind the other
	err = t.Each([]byte{backUnits}, func(b []byte, n int) (bool, error) {
		rr := rowReader{b: b[1:]}
		w := stats.Watched{End: max(0, int(a.AsOf)-rr.num()), Alike: n}
		var root events.UnitID
		if len(rr.b) > 0 {
			copy(root[:], rr.b[len(rr.b)-16:])
			rr.b = rr.b[:len(rr.b)-16]
		}
		from := len(ages)
		for len(rr.b) > 0 && !rr.bad {
			if age := rr.num(); age <= w.End {
				ages = append(ages, age)
			}
		}
		w.Repairs = ages[from:len(ages):len(ages)]
		sets = append(sets, w)
		if len(w.Repairs) >= 2 {
			many = append(many, often{root: root, ages: len(w.Repairs), end: w.End})
		}
		return true, rr.err()
	})
	return sets, many, err
}

// watchedTo counts the units that were watched up to an age.
func watchedTo(sets []stats.Watched, age int) (n int) {
	for _, s := range sets {
		n += choose(s.End >= age, s.Sets(), 0)
	}
	return n
}

// oftenRows names the units whose number of returns is more than chance makes
// of the mean at their age, allowing for how many units were looked at.
func oftenRows(r Reader, curve stats.MeanCurve, many []often, watched int, res *Result) error {
	var looked []often
	var ps []float64
	for _, o := range many {
		at, err := curve.At(o.end)
		if err != nil {
			continue
		}
		o.expected, o.p = at.Mean, poissonTail(o.ages, at.Mean)
		looked, ps = append(looked, o), append(ps, o.p)
	}
	if len(ps) == 0 {
		return nil
	}
	adjusted, err := stats.BenjaminiHochbergAmong(ps, watched) // the others were looked at too
	if err != nil {
		return err
	}
	kept := looked[:0]
	for i, o := range looked {
		if o.adjusted = adjusted[i]; o.adjusted <= flagAt {
			kept = append(kept, o)
		}
	}
	slices.SortFunc(kept, func(a, b often) int { return cmp.Or(cmp.Compare(a.p, b.p), a.root.Compare(b.root)) })
	for _, o := range kept[:min(len(kept), 20)] {
		row, err := o.row(r)
		if err != nil {
			return err
		}
		res.Rows = append(res.Rows, row)
	}
	if n := len(kept); n > 0 {
		res.note(fmt.Sprintf("%s came back more often than %s age explains (Poisson tail against the mean of all, Benjamini-Hochberg at 5 %% among all units)", events.Count(n, "unit"), choose(n == 1, "its", "their")))
	}
	return nil
}

// row names the unit.
func (o often) row(r Reader) (OftenRow, error) {
	row := OftenRow{Unit: o.root.String(), Returns: o.ages, Expected: o.expected, P: o.p, Adjusted: o.adjusted}
	h, err := Load(r, o.root)
	if err != nil || h == nil {
		return row, err
	}
	row.Maker, row.Model = h.Maker, h.Model
	if len(h.Tags) > 0 {
		row.Tag = h.Tags[0]
	}
	return row, nil
}

// poissonTail is the chance of n or more where a mean is expected.
func poissonTail(n int, mean float64) float64 {
	below, term := 0.0, math.Exp(-mean)
	for i := range n {
		below += term
		term *= mean / float64(i+1)
	}
	return max(0, 1-below)
}

// trendNotes says whether one unit's returns come closer together.
func trendNotes(r Reader, a Asked, res *Result) error {
	h, err := Load(r, a.Unit)
	if err != nil || h == nil {
		return err
	}
	w, ok := h.watched()
	var times []float64
	for _, age := range w.ages {
		if age <= int(a.AsOf-w.from) {
			times = append(times, float64(age))
		}
	}
	if !ok || len(times) < 4 {
		res.note(fmt.Sprintf("this unit: %s; fewer than 4 say nothing about a trend", events.Count(len(times), "return")))
		return nil
	}
	end := float64(a.AsOf - w.from)
	gaps, err := stats.ReverseArrangements(times)
	if err != nil {
		return err
	}
	text := fmt.Sprintf("this unit: %d returns in %.0f days; reverse arrangements %d of %d, %s", len(times), end, gaps.R, gaps.Max, gaps.Verdict(0.05))
	if l, err := stats.Laplace(times, end); err == nil {
		text += fmt.Sprintf("; Laplace z %.2f", l.Z)
	}
	res.note(text)
	return nil
}
