package projections

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/projections/stats"
)

// TurnaroundRow is one row of the answer: days from received to shipped.
type TurnaroundRow struct {
	Group      string      `json:"group"`
	Visits     int         `json:"visits"`
	Closed     int         `json:"closed"`
	Open       int         `json:"open"`
	Median     *float64    `json:"median"` // null is: not reached
	MedianLow  *float64    `json:"median_low"`
	MedianHigh *float64    `json:"median_high"`
	P75        *float64    `json:"p75"`
	P90        *float64    `json:"p90"`
	P90Low     *float64    `json:"p90_low"`
	P90High    *float64    `json:"p90_high"`
	Mean       *float64    `json:"restricted_mean,omitempty"`
	MeanSE     *float64    `json:"restricted_mean_se,omitempty"`
	Split      *Split      `json:"split"` // mean days of closed visits, by what the unit stood for
	Steps      []CurveStep `json:"steps"` // day, share still here, low, high, at risk; limits -1 where undefined
}

// Split is where the days of closed visits went, as means a visit. They add up
// to the days in shop.
type Split struct {
	InShop  float64 `json:"in_shop"`
	Bench   float64 `json:"on_the_bench"`
	Owner   float64 `json:"waiting_for_owner"`
	Parts   float64 `json:"waiting_for_parts"`
	Donor   float64 `json:"waiting_for_donor"`
	Payment float64 `json:"waiting_for_payment"`
}

// Rows of one visit, under each way of grouping: that it closed after so many
// days, that it is open since a day, how many of its days it waited for what,
// or that nobody knows when it ended.
const (
	turnClosed  = 'c'
	turnOpen    = 'o'
	turnWait    = 'w'
	turnUnknown = 'u'
)

// turnGroups are the ways of grouping.
var turnGroups = []struct {
	key  byte
	name string
	of   func(*History, Visit) string
}{
	{'a', "all", func(*History, Visit) string { return "" }},
	{'y', "year", func(_ *History, v Visit) string { return strconv.Itoa(v.day().Date().Year()) }},
	{'m', "model", func(h *History, _ Visit) string { return joinName(h.Maker, h.Model) }},
	{'o', "outcome", func(_ *History, v Visit) string { return choose(v.End == Ended, v.outcome(), "still open") }},
}

func turnaroundRows(h *History, to *rowList) { turnaroundRowsBy(h, Asked{}, to) }

func turnaroundRowsBy(h *History, a Asked, to *rowList) {
	var turns rowList
	for _, v := range h.Visits {
		turns.clear()
		visitTurns(v, a, &turns)
		for _, g := range turnGroups {
			group := g.of(h, v)
			turns.each(func(turn []byte) { to.add(append(to.key(g.key).text(group), turn...)) })
		}
	}
}

// visitTurns are the rows of one visit, whatever group it is in.
func visitTurns(v Visit, a Asked, to *rowList) {
	switch {
	case v.End == Open && v.Received.Precision != events.Unknown:
		to.add(to.key(turnOpen).num(int(v.Received.Day)))
		return
	case v.End != Ended || v.Received.Precision == events.Unknown || v.Shipped.Precision == events.Unknown:
		to.add(to.key(turnUnknown))
		return
	}
	to.add(to.key(turnClosed).num(a.days(v.Received.Day, v.Shipped.Day)))
	for _, w := range v.Waits(a.days) {
		if w.Days > 0 {
			to.add(to.key(turnWait).text(w.For).num(w.Days))
		}
	}
}

// outcome is how a visit ended.
func (v Visit) outcome() string {
	var last events.Shipped
	for _, b := range bodies[events.Shipped](v.Entries) {
		last = b
	}
	return last.Outcome
}

// Wait is days for which a unit stood waiting.
type Wait struct {
	For  string
	Days int
}

// Waits are the days of a closed visit that the unit waited, by what for. No
// day counts twice: while it waits for several things at once, it waits for
// what began last. Days are counted by a function of two days.
func (v Visit) Waits(count func(from, to events.Day) int) []Wait {
	if v.End != Ended || v.Shipped.Precision == events.Unknown {
		return nil
	}
	if !slices.ContainsFunc(v.Entries, func(e Entry) bool { return e.Kind == events.KindWaitingBegun }) {
		return nil
	}
	var pending []string
	days := map[string]int{}
	since := v.day()
	pass := func(to events.Day) {
		to = min(max(to, since), v.Shipped.Day)
		if n := len(pending); n > 0 {
			days[pending[n-1]] += count(since, to)
		}
		since = to
	}
	for _, e := range v.Entries {
		if e.At.Precision == events.Unknown || e.Kind != events.KindWaitingBegun && e.Kind != events.KindWaitingEnded {
			continue
		}
		switch b := e.Decode().(type) {
		case events.WaitingBegun:
			pass(e.At.Day)
			pending = append(pending, b.For)
		case events.WaitingEnded:
			pass(e.At.Day)
			pending = slices.DeleteFunc(pending, func(w string) bool { return b.For == "" || w == b.For })
		}
	}
	pass(v.Shipped.Day)
	var waits []Wait
	for _, w := range slices.Sorted(maps.Keys(days)) {
		waits = append(waits, Wait{w, days[w]})
	}
	return waits
}

// turns is one group's counts.
type turns struct {
	counts  []stats.DayCount
	closed  int
	open    int
	unknown int
	days    int
	waits   map[string]int
}

// turnaroundAnswer draws how long units stay, visits that are open counted as
// far as they have come.
func turnaroundAnswer(t Tally, a Asked) (*Result, error) {
	by := slices.IndexFunc(turnGroups, func(g struct {
		key  byte
		name string
		of   func(*History, Visit) string
	}) bool {
		return g.name == choose(a.By == "", "all", a.By)
	})
	if by < 0 {
		return nil, fmt.Errorf("turnaround by %q: there are all, year, model and outcome", a.By)
	}
	groups, err := readTurns(t, turnGroups[by].key, a)
	if err != nil {
		return nil, err
	}
	groups = joinTurns(turnGroups[by].name, groups)
	if groups, err = chosenTurns(groups, a.Groups); err != nil {
		return nil, fmt.Errorf("turnaround by %s: %w", turnGroups[by].name, err)
	}
	res := &Result{Method: "Kaplan-Meier from the day received to the day shipped, open visits censored on the day asked for; log-log limits with Greenwood's variance, 95 %; days are " + choose(a.WorkDays == nil, "calendar days", "working days")}
	unknown := 0
	var curves []PictureCurve
	for _, name := range slices.SortedFunc(maps.Keys(groups), knownFirst) {
		g := groups[name]
		unknown += g.unknown
		if g.closed+g.open == 0 {
			continue
		}
		row, curve, err := g.row(choose(name == "" && by == 0, "all", name), a, res)
		if err != nil {
			return nil, err
		}
		res.Rows = append(res.Rows, row)
		curves = append(curves, curve)
	}
	res.miss("visits that ended on a day nobody wrote down", unknown)
	logRankNote(res, groups, turnGroups[by].name)
	res.Picture = turnPicture(curves, res.Rows)
	return res, nil
}

func readTurns(t Tally, key byte, a Asked) (map[string]*turns, error) {
	groups := map[string]*turns{}
	err := t.Each([]byte{key}, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row[1:]}
		name := rr.text()
		g := groups[name]
		if g == nil {
			g = &turns{waits: map[string]int{}}
			groups[name] = g
		}
		if len(rr.b) == 0 {
			return false, errView
		}
		kind := rr.b[0]
		rr.b = rr.b[1:]
		g.add(kind, &rr, n, a)
		return true, rr.err()
	})
	return groups, err
}

// joinTurns makes one group of those whose names are spellings of one.
func joinTurns(grouping string, groups map[string]*turns) map[string]*turns {
	visits := map[string]int{}
	for name, g := range groups {
		visits[name] = g.closed + g.open + g.unknown
	}
	joined := map[string]*turns{}
	for name, shown := range spelledOnce(grouping, visits) {
		if joined[shown] == nil {
			joined[shown] = &turns{waits: map[string]int{}}
		}
		joined[shown].join(groups[name])
	}
	return joined
}

// chosenTurns are the groups that were asked for, all if none were named.
func chosenTurns(groups map[string]*turns, names []string) (map[string]*turns, error) {
	if len(names) == 0 {
		return groups, nil
	}
	chosen, all := map[string]*turns{}, slices.SortedFunc(maps.Keys(groups), knownFirst)
	for _, name := range names {
		at := slices.IndexFunc(all, func(g string) bool { return events.Key(g) == events.Key(name) })
		if at < 0 {
			return nil, &NoGroup{name, all}
		}
		chosen[all[at]] = groups[all[at]]
	}
	return chosen, nil
}

// NoGroup is returned when a group was named that the answer does not have.
type NoGroup struct {
	Name string
	Have []string
}

func (e *NoGroup) Error() string {
	return fmt.Sprintf("group %q: there are %s", e.Name, strings.Join(e.Have, ", "))
}

func (g *turns) join(o *turns) {
	g.counts = append(g.counts, o.counts...)
	g.closed, g.open, g.unknown, g.days = g.closed+o.closed, g.open+o.open, g.unknown+o.unknown, g.days+o.days
	for w, n := range o.waits {
		g.waits[w] += n
	}
}

func (g *turns) add(kind byte, rr *rowReader, n int, a Asked) {
	switch kind {
	case turnClosed:
		d := rr.num()
		g.counts = append(g.counts, stats.DayCount{Day: d, Events: n})
		g.closed += n
		g.days += n * d
	case turnOpen:
		g.counts = append(g.counts, stats.DayCount{Day: a.days(events.Day(rr.num()), a.AsOf), Censored: n})
		g.open += n
	case turnWait:
		w := rr.text()
		g.waits[w] += n * rr.num()
	case turnUnknown:
		g.unknown += n
	}
}

func (g *turns) row(name string, a Asked, res *Result) (TurnaroundRow, PictureCurve, error) {
	row := TurnaroundRow{Group: name, Visits: g.closed + g.open, Closed: g.closed, Open: g.open, Steps: []CurveStep{}}
	curve, err := stats.KaplanMeier(g.counts)
	if err != nil {
		return row, PictureCurve{}, err
	}
	for _, q := range []struct {
		p             float64
		at, low, high **float64
	}{{0.5, &row.Median, &row.MedianLow, &row.MedianHigh}, {0.75, &row.P75, nil, nil}, {0.9, &row.P90, &row.P90Low, &row.P90High}} {
		found, err := curve.Quantile(q.p, stats.Level{})
		if err != nil {
			return row, PictureCurve{}, err
		}
		*q.at = reached(found.Estimate)
		if q.low != nil {
			*q.low, *q.high = reached(found.Lower), reached(found.Upper)
		}
	}
	if a.Days > 0 {
		mean, err := curve.RestrictedMean(a.Days)
		var past *stats.PastLastError
		switch {
		case errors.As(err, &past):
			res.note(fmt.Sprintf("%s: no mean to day %d, since nothing was watched beyond day %d and units are still open there", name, a.Days, past.Last))
		case err != nil:
			return row, PictureCurve{}, err
		default:
			row.Mean, row.MeanSE = &mean.Days, &mean.SE
		}
	}
	row.Split = g.split()
	var picture PictureCurve
	row.Steps, picture = drawn(curve)
	picture.Name = name
	if row.Visits < 10 {
		res.note(fmt.Sprintf("%s: only %s", name, events.Count(row.Visits, "visit")))
	}
	return row, picture, nil
}

func reached(r stats.Reach) *float64 {
	if !r.Reached {
		return nil
	}
	return &r.Day
}

// split shares out the days of closed visits.
func (g *turns) split() *Split {
	if g.closed == 0 {
		return nil
	}
	mean := func(days int) float64 { return float64(days) / float64(g.closed) }
	s := &Split{InShop: mean(g.days), Owner: mean(g.waits["owner"]), Parts: mean(g.waits["parts"]), Donor: mean(g.waits["donor"]), Payment: mean(g.waits["payment"])}
	s.Bench = s.InShop - s.Owner - s.Parts - s.Donor - s.Payment
	return s
}

// curve is a survival curve, however it is kept.
type curve interface {
	All() iter.Seq[stats.Step]
	Len() (steps, moves int)
}

// drawn is a curve for a row and for a picture.
func drawn(c curve) (steps []CurveStep, p PictureCurve) {
	all, moves := c.Len()
	steps, p.Watched = make([]CurveStep, 0, moves), make([]PictureWatched, 0, all)
	for s := range c.All() {
		p.Watched = append(p.Watched, PictureWatched{int32(s.Day), int32(s.AtRisk)})
		if s.Events == 0 {
			continue
		}
		limits, ok := s.Limits(stats.Level{})
		if !ok {
			limits = stats.Interval{Lo: undefined, Hi: undefined}
		}
		steps = append(steps, CurveStep{float64(s.Day), s.S, limits.Lo, limits.Hi, float64(s.AtRisk)})
	}
	p.Steps, p.End = steps, float64(p.Watched[all-1].Day)
	return steps, p
}

// logRankNote compares groups, where there are at least two.
func logRankNote(res *Result, groups map[string]*turns, by string) {
	var counts [][]stats.DayCount
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		if g := groups[name]; g.closed > 0 && (name != "" || by == "all") {
			counts = append(counts, g.counts)
		}
	}
	if len(counts) < 2 || by == "outcome" {
		return
	}
	if r, err := stats.LogRank(counts...); err == nil && !math.IsNaN(r.P) {
		res.note(fmt.Sprintf("do the groups differ? log-rank chi-square %.2f on %d degrees of freedom, p = %.4f", r.Chi2, r.DF, r.P))
	}
}

func turnPicture(curves []PictureCurve, rows []any) *Picture {
	if len(curves) == 0 {
		return nil
	}
	if len(curves) > mostCurves {
		return mediansPicture(rows)
	}
	p := &Picture{Title: "Share of units still in the shop", AxisX: "days since received", AxisY: "share still here", Curves: curves}
	first := rows[0].(TurnaroundRow)
	p.Desc = "Half of the visits have not ended yet."
	if first.Median != nil {
		p.Desc = fmt.Sprintf("Half of the visits (%s) ended within %s", first.Group, events.Count(int(math.RoundToEven(*first.Median)), "day"))
		if first.P90 != nil {
			p.Desc += fmt.Sprintf(", nine of ten within %.0f", *first.P90)
		}
		p.Desc += "."
	}
	return p
}

// mostCurves is how many curves can be told apart.
const mostCurves = 6

// mediansPicture is how soon half of each group was done, where there are more
// groups than curves can be told apart. A median that was not reached, or has no
// upper limit, has no bar.
func mediansPicture(rows []any) *Picture {
	most := slices.SortedStableFunc(slices.Values(rows), func(x, y any) int {
		return cmp.Compare(y.(TurnaroundRow).Visits, x.(TurnaroundRow).Visits)
	})
	least := most[min(len(most), mostColumns)-1].(TurnaroundRow).Visits
	p := &Picture{Title: "Days until half of the visits were done", AxisX: "days since received"}
	left := 0
	for _, r := range rows {
		row := r.(TurnaroundRow)
		if row.Visits < least || len(p.Bars) == mostColumns || row.Median == nil || row.MedianLow == nil || row.MedianHigh == nil {
			left++
			continue
		}
		p.Bars = append(p.Bars, PictureBar{choose(row.Group == "", "not known", row.Group), *row.Median, *row.MedianLow, *row.MedianHigh, strconv.Itoa(row.Visits)})
	}
	if len(p.Bars) == 0 {
		return nil
	}
	quick := slices.MinFunc(p.Bars, func(a, b PictureBar) int { return cmp.Compare(a.Value, b.Value) })
	slow := slices.MaxFunc(p.Bars, func(a, b PictureBar) int { return cmp.Compare(a.Value, b.Value) })
	p.Desc = fmt.Sprintf("From %s (%s) to %s (%s).", quick.Name, daysText(quick.Value), slow.Name, daysText(slow.Value))
	if left > 0 {
		p.Desc += fmt.Sprintf(" Not drawn: %d with fewer visits, or with no median that has limits.", left)
	}
	return p
}

// short is a number of days: whole, or a half where it lies between two.
// daysText is days with their noun, of which a quantile is a whole number.
func daysText(days float64) string { return short(days) + choose(days == 1, " day", " days") }

func short(days float64) string { return strconv.FormatFloat(days, 'f', -1, 64) }
