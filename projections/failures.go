package projections

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

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

func failureRows(h *History, to *rowList) {
	if len(h.Visits) == 0 {
		return
	}
	year := func(kind byte) rowKey { return to.key(kind).num(h.YearFrom) }
	model := func(kind byte) rowKey { return to.key(kind).text(h.Maker).text(h.Model) }
	to.add(year(failureYear))
	to.add(model(failureModel))
	for _, f := range faultsOf(h.Visits, to) {
		to.add(year(failureYearFault).text(f.component).text(f.mode))
		to.add(model(failureModelFault).text(f.component).text(f.mode))
	}
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
func faultsOf(visits []Visit, words *rowList) (faults []fault) {
	for _, v := range visits {
		for _, b := range bodies[events.FaultFound](v.Entries) {
			switch {
			case b.Component != "":
				faults = append(faults, fault{b.Component, b.Mode})
			case words != nil:
				words.add(words.key(failureWords))
			}
		}
	}
	slices.SortFunc(faults, compareFaults)
	return slices.Compact(faults)
}

func compareFaults(a, b fault) int {
	return cmp.Or(cmp.Compare(a.component, b.component), cmp.Compare(a.mode, b.mode))
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
	res.Rows = make([]any, len(rows))
	for i, r := range rows {
		res.Rows[i] = r
	}
	res.miss("findings that name no component", table.words)
	if n := table.unknown(); n > 0 {
		res.note(fmt.Sprintf("of %s the %s is not known; %s and no group others are compared with", events.Count(n, "unit"), choose(a.By == "", "year made", a.By), choose(n == 1, "it is a row of its own", "they are a row of their own")))
	}
	if fits > 0 {
		res.note(fmt.Sprintf("%s too few groups, or groups that differ too little, for a prior: %s not shrunk", events.Count(fits, "fault has", "faults have"), choose(fits == 1, "its shares are", "their shares are")))
	}
	if small := table.smallGroups(); small > 0 {
		res.note(fmt.Sprintf("%s fewer than 5 units: %s wide", events.Count(small, "group has", "groups have"), choose(small == 1, "its interval is", "their intervals are")))
	}
	res.Picture = table.picture(rows, choose(a.By == "", "year made", a.By))
	return res, nil
}

// rows are the answer's, by group and fault; fits counts the faults without a
// prior.
func (t *failureTable) rows(by string) (rows []FailureRow, fits int, err error) {
	c := t.comparing(by)
	p := t.priors(by)
	errs := make([]error, len(t.groups))
	// Priors and tests have nothing to do with each other, and take longest.
	sideBySide(len(p.fits)+len(t.groups), func(i int) {
		if i < len(p.fits) {
			p.fits[i].make(t)
		} else {
			errs[i-len(p.fits)] = c.rowsOf(i - len(p.fits))
		}
	})
	if err := errors.Join(errs...); err != nil {
		return nil, 0, err
	}
	c.shrink(p)
	return c.rows, p.unfit(len(t.faults)), flag(c.rows)
}

// comparing is rows on their way, which compare each group with all others.
type comparing struct {
	*failureTable
	byYear bool

	total     int   // units of all groups that are known
	withFault []int // of those with each fault
	first     []int // which row is the first of each group, and how many there are
	rows      []FailureRow

	lifts, shrunk []float64 // of the rows
}

func (t *failureTable) comparing(by string) *comparing {
	c := &comparing{failureTable: t, byYear: by == "" || by == "year", withFault: make([]int, len(t.faults)), first: make([]int, 1, len(t.groups)+1)}
	n := 0
	for i, g := range t.groups {
		for j, x := range t.with[i] {
			if g != "" {
				c.withFault[j] += x
			}
			n += counted(x > 0)
		}
		c.total += choose(g == "", 0, t.seen[i])
		c.first = append(c.first, n)
	}
	c.rows, c.lifts, c.shrunk = make([]FailureRow, n), make([]float64, n), make([]float64, n)
	return c
}

// rowsOf makes the rows of one group, but for what leans on a prior.
func (c *comparing) rowsOf(group int) error {
	g := c.groups[group]
	var year *int
	if y := c.years[g]; g != "" && c.byYear {
		year = &y
	}
	at := c.first[group]
	for j, f := range c.faults {
		s := stats.Share{X: c.with[group][j], N: c.seen[group]}
		if s.X == 0 {
			continue
		}
		c.rows[at] = FailureRow{Year: year, Group: g, Component: f.component, Mode: f.mode, Units: s.X, Of: s.N, Share: s.Rate(), P: 1, Adjusted: 1}
		if err := c.compare(at, s, stats.Share{X: c.withFault[j] - s.X, N: c.total - s.N}); err != nil {
			return err
		}
		at++
	}
	return nil
}

// shrink adds what leans on a prior.
func (c *comparing) shrink(p *priors) {
	at := 0
	for i, with := range c.with {
		for j, x := range with {
			if x == 0 {
				continue
			}
			mean, ok := p.shrunk(i, j, stats.Share{X: x, N: c.seen[i]})
			if c.shrunk[at] = mean; ok {
				c.rows[at].Shrunk = &c.shrunk[at]
			}
			at++
		}
	}
}

// compare sets a group's share with a fault beside that of all others.
func (c *comparing) compare(at int, s, others stats.Share) error {
	row := &c.rows[at]
	limits, err := stats.Wilson(s, stats.Level{})
	if err != nil {
		return err
	}
	row.Low, row.High = limits.Lo, limits.Hi
	if row.Group == "" || others.N == 0 {
		return nil
	}
	if others.X > 0 {
		c.lifts[at] = s.Rate() / others.Rate()
		row.Lift = &c.lifts[at]
	}
	test, err := stats.FisherExact(stats.Table{{s.X, s.N - s.X}, {others.X, others.N - others.X}})
	row.P = test.TwoSided
	return err
}

// knownFirst puts groups in order, with the one of which nothing is known last.
func knownFirst(a, b string) int {
	if a == "" || b == "" {
		return cmp.Compare(b, a)
	}
	return cmp.Compare(a, b)
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
