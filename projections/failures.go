package projections

import (
	"cmp"
	"errors"
	"fmt"
	"math"
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
	for _, r := range rows {
		res.Rows = append(res.Rows, r)
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
	total, withFault := 0, make([]int, len(t.faults))
	for i, g := range t.groups {
		for j, x := range t.with[i] {
			if g != "" {
				withFault[j] += x
			}
		}
		total += choose(g == "", 0, t.seen[i])
	}
	priors := t.priors(by, &fits)
	of, errs := make([][]FailureRow, len(t.groups)), make([]error, len(t.groups))
	sideBySide(len(t.groups), func(i int) { of[i], errs[i] = t.rowsOf(i, by, priors, total, withFault) })
	if err := errors.Join(errs...); err != nil {
		return nil, 0, err
	}
	rows = slices.Concat(of...)
	return rows, fits, flag(rows)
}

// rowsOf are the rows of one group.
func (t *failureTable) rowsOf(group int, by string, p priors, total int, withFault []int) (rows []FailureRow, err error) {
	g := t.groups[group]
	rows = make([]FailureRow, 0, len(t.faults))
	for j, f := range t.faults {
		s := stats.Share{X: t.with[group][j], N: t.seen[group]}
		if s.X == 0 {
			continue
		}
		row, err := failureRow(g, f, s, total, withFault[j])
		if err != nil {
			return nil, err
		}
		row.Shrunk = p.of(t.maker[g], j, s)
		if y := t.years[g]; g != "" && (by == "" || by == "year") {
			row.Year = &y
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// knownFirst puts groups in order, with the one of which nothing is known last.
func knownFirst(a, b string) int {
	if a == "" || b == "" {
		return cmp.Compare(b, a)
	}
	return cmp.Compare(a, b)
}

// failureRow sets a group's share with a fault beside that of all others.
func failureRow(g string, f fault, s stats.Share, total, withFault int) (FailureRow, error) {
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
	all     []*stats.Prior // of each fault, nil where there is none
	byMaker map[string][]*stats.Prior
}

func (t *failureTable) priors(by string, unfit *int) priors {
	p := priors{t.fit(""), map[string][]*stats.Prior{}}
	for _, prior := range p.all {
		*unfit += counted(prior == nil)
	}
	if by == "model" {
		for _, maker := range t.maker {
			if p.byMaker[maker] == nil {
				p.byMaker[maker] = t.fit(maker)
			}
		}
	}
	return p
}

// fit makes a prior for each fault from the groups of a maker, or from all.
func (t *failureTable) fit(maker string) []*stats.Prior {
	var groups []int
	for i, g := range t.groups {
		if g != "" && (maker == "" || t.maker[g] == maker) {
			groups = append(groups, i)
		}
	}
	fits := make([]*stats.Prior, len(t.faults))
	sideBySide(len(t.faults), func(f int) {
		shares := make([]stats.Share, 0, len(groups))
		for _, g := range groups {
			shares = append(shares, stats.Share{X: t.with[g][f], N: t.seen[g]})
		}
		if prior, err := stats.LikelihoodFit(shares); err == nil {
			fits[f] = &prior
		}
	})
	return fits
}

func (p priors) of(maker string, fault int, s stats.Share) *float64 {
	prior := p.all[fault]
	if own := p.byMaker[maker]; own != nil && own[fault] != nil {
		prior = own[fault]
	}
	if prior == nil {
		return nil
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
