package projections

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"oldhand/events"
	"oldhand/projections/stats"
)

// FailureRow is one row of the answer. Year, or the group that was asked for
// instead, is empty where it is not known.
type FailureRow struct {
	Year      *int     `json:"year"` // made; null is a row of its own where it is not known
	Group     string   `json:"group"`
	Component string   `json:"component"`
	Mode      string   `json:"mode"`
	Units     int      `json:"units"` // of the group, with the fault
	Of        int      `json:"of"`    // of the group, seen
	Share     float64  `json:"share"`
	Low       float64  `json:"low"`
	High      float64  `json:"high"`
	Lift      *float64 `json:"lift"`     // share against that of all other groups
	P         float64  `json:"p"`        // Fisher's exact test against all others
	Adjusted  float64  `json:"adjusted"` // after Benjamini and Hochberg
	Flagged   bool     `json:"flagged"`
	Shrunk    *float64 `json:"shrunk"`
}

// flagAt is the share of false alarms among what is flagged, at most.
const flagAt = 0.05

// fault is a component class and how it failed.
type fault struct{ component, mode string }

// Of one unit: that it was seen and each fault it had once, by its year made and
// by its model, which are never asked for together; and each finding that stayed
// words.
const (
	failureYear       = 'y'
	failureYearFault  = 'Y'
	failureModel      = 'm'
	failureModelFault = 'M'
	failureWords      = 'w'
)

func failureRows(h *History) [][]byte {
	if len(h.Visits) == 0 {
		return nil
	}
	year := func(kind byte) rowKey { return rowKey{kind}.num(h.YearFrom) }
	model := func(kind byte) rowKey { return rowKey{kind}.text(h.Maker).text(h.Model) }
	rows := [][]byte{year(failureYear), model(failureModel)}
	for _, f := range faultsOf(h.Visits, &rows) {
		rows = append(rows, year(failureYearFault).text(f.component).text(f.mode), model(failureModelFault).text(f.component).text(f.mode))
	}
	return rows
}

// failureHead has the faults of a year or a model in one block, all years in one
// and the models of a maker.
func failureHead(row []byte) int {
	switch row[0] {
	case failureYearFault:
		return min(5, len(row))
	case failureModel:
		return afterTexts(row, 1, 1)
	case failureModelFault:
		return afterTexts(row, 1, 2)
	}
	return 1
}

// faultsOf are the faults of visits, each once, in order. A finding that names
// no component is counted as a row of words instead.
func faultsOf(visits []Visit, words *[][]byte) []fault {
	seen := map[fault]bool{}
	for _, v := range visits {
		for _, b := range bodies[events.FaultFound](v.Entries) {
			switch {
			case b.Component != "":
				seen[fault{b.Component, b.Mode}] = true
			case words != nil:
				*words = append(*words, []byte{failureWords})
			}
		}
	}
	return slices.SortedFunc(maps.Keys(seen), compareFaults)
}

func compareFaults(a, b fault) int {
	return cmp.Or(cmp.Compare(a.component, b.component), cmp.Compare(a.mode, b.mode))
}

// groupings read a unit's group off a row, behind its kind: from the rows by year
// or from those by model.
var groupings = map[string]struct {
	seen, fault byte
	group       func(*rowReader, *failureTable) string
}{
	"year": {failureYear, failureYearFault, func(rr *rowReader, t *failureTable) string {
		year := rr.num()
		g := yearName(year)
		t.years[g] = year
		return g
	}},
	"decade": {failureYear, failureYearFault, func(rr *rowReader, _ *failureTable) string {
		year := rr.num()
		return choose(year == 0, "", fmt.Sprintf("%d0s", year/10))
	}},
	"maker": {failureModel, failureModelFault, func(rr *rowReader, t *failureTable) string {
		k := keyOf(rr.text(), rr.text())
		return t.makers[modelKey{k.maker, ""}].usual()[0]
	}},
	"model": {failureModel, failureModelFault, func(rr *rowReader, t *failureTable) string {
		k := keyOf(rr.text(), rr.text())
		g := ""
		if k.model != "" {
			g = joinName(t.written[k].usual()[0], t.written[k].usual()[1])
		}
		t.maker[g] = t.makers[modelKey{k.maker, ""}].usual()[0]
		return g
	}},
}

func yearName(year int) string { return choose(year == 0, "", fmt.Sprint(year)) }

// failureTable is units seen and units with each fault, by group.
type failureTable struct {
	seen   map[string]int
	faults map[string]map[fault]int
	maker  map[string]string // of a model
	years  map[string]int
	words  int

	written, makers names // how models and makers are spelled
}

// failureAnswer compares how often each fault is found on sets of each year
// made, or of each model, maker or decade.
func failureAnswer(t Tally, a Asked) (*Result, error) {
	table, err := readFailures(t, choose(a.By == "", "year", a.By))
	if err != nil {
		return nil, err
	}
	rows, fits, err := table.rows(a.By)
	if err != nil {
		return nil, err
	}
	res := &Result{Method: "units with the fault among units seen, a unit once however often it came; Wilson interval, 95 %; lift against all other groups, Fisher's exact test, two-sided, flagged after Benjamini-Hochberg at 5 %; small groups shrunk by a beta-binomial prior (maximum likelihood)"}
	for _, r := range rows {
		res.Rows = append(res.Rows, r)
	}
	res.miss("findings that name no component", table.words)
	if n := table.seen[""]; n > 0 {
		res.note(fmt.Sprintf("of %s the %s is not known; %s and no group others are compared with", events.Count(n, "unit"), choose(a.By == "", "year made", a.By), choose(n == 1, "it is a row of its own", "they are a row of their own")))
	}
	if fits > 0 {
		res.note(fmt.Sprintf("%s too few groups, or groups that differ too little, for a prior: %s not shrunk", events.Count(fits, "fault has", "faults have"), choose(fits == 1, "its shares are", "their shares are")))
	}
	if small := smallGroups(table.seen); small > 0 {
		res.note(fmt.Sprintf("%s fewer than 5 units: %s wide", events.Count(small, "group has", "groups have"), choose(small == 1, "its interval is", "their intervals are")))
	}
	res.Picture = table.picture(rows, choose(a.By == "", "year made", a.By))
	return res, nil
}

func smallGroups(seen map[string]int) (n int) {
	for g, units := range seen {
		if g != "" && units < 5 {
			n++
		}
	}
	return n
}

func readFailures(t Tally, by string) (*failureTable, error) {
	g, ok := groupings[by]
	if !ok {
		return nil, fmt.Errorf("failures by %q: there are year, decade, maker and model", by)
	}
	table := &failureTable{seen: map[string]int{}, faults: map[string]map[fault]int{}, maker: map[string]string{}, years: map[string]int{},
		written: names{}, makers: names{}}
	if g.seen == failureModel {
		if err := table.readNames(t); err != nil {
			return nil, err
		}
	}
	err := eachRow(t, g.seen, func(rr *rowReader, n int) { table.seen[g.group(rr, table)] += n })
	if err != nil {
		return nil, err
	}
	err = eachRow(t, g.fault, func(rr *rowReader, n int) {
		name := g.group(rr, table)
		if table.faults[name] == nil {
			table.faults[name] = map[fault]int{}
		}
		table.faults[name][fault{rr.text(), rr.text()}] += n
	})
	if err != nil {
		return nil, err
	}
	return table, eachRow(t, failureWords, func(_ *rowReader, n int) { table.words += n })
}

// readNames reads how models and makers are spelled, before groups are named by
// them.
func (t *failureTable) readNames(tally Tally) error {
	return eachRow(tally, failureModel, func(rr *rowReader, n int) {
		maker, model := rr.text(), rr.text()
		t.written.add(maker, model, n)
		t.makers.add(maker, "", n)
	})
}

// rows are the answer's, by group and fault; fits counts the faults without a
// prior.
func (t *failureTable) rows(by string) (rows []FailureRow, fits int, err error) {
	total, withFault := 0, map[fault]int{}
	for g, n := range t.seen {
		if g == "" {
			continue
		}
		total += n
		for f, x := range t.faults[g] {
			withFault[f] += x
		}
	}
	priors := t.priors(by, &fits)
	for _, g := range slices.SortedFunc(maps.Keys(t.seen), knownFirst) {
		for _, f := range slices.SortedFunc(maps.Keys(t.faults[g]), compareFaults) {
			row, err := t.row(g, f, total, withFault[f])
			if err != nil {
				return nil, 0, err
			}
			row.Shrunk = priors.of(t.maker[g], f, stats.Share{X: row.Units, N: row.Of})
			if by == "" || by == "year" {
				if y := t.years[g]; g != "" {
					row.Year = &y
				}
			}
			rows = append(rows, row)
		}
	}
	return rows, fits, flag(rows)
}

// knownFirst puts groups in order, with the one of which nothing is known last.
func knownFirst(a, b string) int {
	if a == "" || b == "" {
		return cmp.Compare(b, a)
	}
	return cmp.Compare(a, b)
}

func (t *failureTable) row(g string, f fault, total, withFault int) (FailureRow, error) {
	s := stats.Share{X: t.faults[g][f], N: t.seen[g]}
	row := FailureRow{Group: g, Component: f.component, Mode: f.mode, Units: s.X, Of: s.N, Share: s.Rate(), P: 1, Adjusted: 1}
	limits, err := stats.Wilson(s, stats.Level{})
	if err != nil {
		return row, err
	}
	row.Low, row.High = limits.Lo, limits.Hi
	others := stats.Share{X: withFault - s.X, N: total - s.N}
	if g == "" || others.N == 0 {
		return row, nil
	}
	if others.X > 0 {
		lift := s.Rate() / others.Rate()
		row.Lift = &lift
	}
	test, err := stats.FisherExact(stats.Table{{s.X, s.N - s.X}, {others.X, others.N - others.X}})
	row.P = test.TwoSided
	return row, err
}

// flag marks the rows whose difference from all others stands up among as many
// comparisons as were made. Groups of unknown name are not compared.
func flag(rows []FailureRow) error {
	var ps []float64
	var at []int
	for i, r := range rows {
		if r.Group != "" {
			ps, at = append(ps, r.P), append(at, i)
		}
	}
	if len(ps) == 0 {
		return nil
	}
	adjusted, err := stats.BenjaminiHochberg(ps)
	for j, i := range at {
		rows[i].Adjusted, rows[i].Flagged = adjusted[j], adjusted[j] <= flagAt
	}
	return err
}

// priors are what small groups lean on: for a model the models of its maker
// where there are enough, else all; for other groups all of them.
type priors struct {
	all     map[fault]stats.Prior
	byMaker map[string]map[fault]stats.Prior
}

func (t *failureTable) priors(by string, unfit *int) priors {
	p := priors{t.fit("", unfit), map[string]map[fault]stats.Prior{}}
	if by == "model" {
		for _, maker := range t.maker {
			if p.byMaker[maker] == nil {
				p.byMaker[maker] = t.fit(maker, nil)
			}
		}
	}
	return p
}

// fit makes a prior for each fault from the groups of a maker, or from all.
func (t *failureTable) fit(maker string, unfit *int) map[fault]stats.Prior {
	all := map[fault]bool{}
	for _, fs := range t.faults {
		for f := range fs {
			all[f] = true
		}
	}
	var groups []string
	for _, g := range slices.Sorted(maps.Keys(t.seen)) {
		if g != "" && (maker == "" || t.maker[g] == maker) {
			groups = append(groups, g)
		}
	}
	faults := slices.Collect(maps.Keys(all))
	fits := make([]*stats.Prior, len(faults))
	sideBySide(len(faults), func(i int) {
		shares := make([]stats.Share, 0, len(groups))
		for _, g := range groups {
			shares = append(shares, stats.Share{X: t.faults[g][faults[i]], N: t.seen[g]})
		}
		if prior, err := stats.LikelihoodFit(shares); err == nil {
			fits[i] = &prior
		}
	})
	found := map[fault]stats.Prior{}
	for i, f := range faults {
		switch {
		case fits[i] != nil:
			found[f] = *fits[i]
		case unfit != nil:
			*unfit++
		}
	}
	return found
}

// sideBySide does n things that have nothing to do with each other, on as many
// goroutines as there are processors.
func sideBySide(n int, do func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}

func (p priors) of(maker string, f fault, s stats.Share) *float64 {
	prior, ok := p.byMaker[maker][f]
	if !ok {
		if prior, ok = p.all[f]; !ok {
			return nil
		}
	}
	post, err := prior.Of(s)
	if err != nil {
		return nil
	}
	mean := post.Mean()
	if math.IsNaN(mean) {
		return nil
	}
	return &mean
}

// picture is a heat map of the most frequent faults by group.
func (t *failureTable) picture(rows []FailureRow, by string) *Picture {
	count := map[fault]int{}
	cells := map[string]map[fault]FailureRow{}
	var worst FailureRow
	for _, r := range rows {
		f := fault{r.Component, r.Mode}
		count[f] += r.Units
		if cells[r.Group] == nil {
			cells[r.Group] = map[fault]FailureRow{}
		}
		cells[r.Group][f] = r
		if r.Flagged && r.Lift != nil && (worst.Lift == nil || *r.Lift > *worst.Lift) {
			worst = r
		}
	}
	if len(count) == 0 {
		return nil
	}
	top := slices.SortedFunc(maps.Keys(count), func(a, b fault) int {
		return cmp.Or(cmp.Compare(count[b], count[a]), compareFaults(a, b))
	})
	heat := &PictureHeat{}
	groups := t.drawn()
	for _, g := range groups {
		heat.Columns = append(heat.Columns, choose(g == "", "not known", g))
	}
	for _, f := range top[:min(len(top), 15)] {
		heat.Rows = append(heat.Rows, spokenFault(f))
		line := make([]PictureCell, len(groups))
		for i, g := range groups {
			r := cells[g][f]
			line[i] = PictureCell{r.Share, t.seen[g], r.Flagged}
		}
		heat.Cells = append(heat.Cells, line)
	}
	p := &Picture{Title: "Faults by " + by, AxisX: by, Heat: heat}
	p.Desc = "No fault stands out after allowing for the number of comparisons."
	if worst.Lift != nil {
		p.Desc = fmt.Sprintf("%s stands out in %s: %d of %s, %.1f times as often as in all others.",
			spokenFault(fault{worst.Component, worst.Mode}), worst.Group, worst.Units, events.Count(worst.Of, "unit"), *worst.Lift)
	}
	if len(groups) < len(t.seen) {
		p.Desc += fmt.Sprintf(" The picture has the %d groups with the most units, of %d.", len(groups), len(t.seen))
	}
	return p
}

// mostColumns is how many groups are drawn: with more, what a picture is for is
// lost in it.
const mostColumns = 36

// drawn are the groups with the most units, in their own order.
func (t *failureTable) drawn() []string {
	groups := slices.SortedFunc(maps.Keys(t.seen), func(a, b string) int {
		return cmp.Or(cmp.Compare(t.seen[b], t.seen[a]), cmp.Compare(a, b))
	})
	groups = groups[:min(len(groups), mostColumns)]
	slices.Sort(groups)
	return groups
}
