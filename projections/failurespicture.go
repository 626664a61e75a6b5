package projections

import (
	"cmp"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/projections/stats"
)

// picture is a heat map of the most frequent faults by group.
func (t *failureTable) picture(rows []FailureRow, by string) *Picture {
	if len(rows) == 0 {
		return nil
	}
	var worst *FailureRow
	for i := range rows {
		if r := &rows[i]; r.Flagged && r.Lift != nil && (worst == nil || *r.Lift > *worst.Lift) {
			worst = r
		}
	}
	flagged := t.flagged(rows)
	heat := &PictureHeat{}
	groups := t.drawn()
	for _, g := range groups {
		heat.Columns = append(heat.Columns, choose(t.groups[g] == "", "not known", t.groups[g]))
	}
	for _, j := range t.mostFrequent() {
		f := t.faults[j]
		heat.Rows = append(heat.Rows, spokenFault(f))
		line := make([]PictureCell, len(groups))
		for i, g := range groups {
			share := stats.Share{X: t.with[g][j], N: t.seen[g]}
			if share.X > 0 {
				line[i].Share = share.Rate()
			}
			line[i].Of, line[i].Flagged = share.N, flagged[g][j]
		}
		heat.Cells = append(heat.Cells, line)
	}
	p := &Picture{Title: "Faults by " + by, AxisX: by, Heat: heat}
	p.Desc = "No fault stands out after allowing for the number of comparisons."
	if worst != nil {
		p.Desc = fmt.Sprintf("%s stands out in %s: %d of %s, %.1f times as often as in all others.",
			spokenFault(fault{worst.Component, worst.Mode}), worst.Group, worst.Units, events.Count(worst.Of, "unit"), *worst.Lift)
	}
	if len(groups) < len(t.seen) {
		p.Desc += fmt.Sprintf(" The picture has the %d groups with the most units, of %d.", len(groups), len(t.seen))
	}
	return p
}

// flagged says which groups stand out with which faults, of rows that are in the
// table's order.
func (t *failureTable) flagged(rows []FailureRow) [][]bool {
	all := make([][]bool, len(t.groups))
	for i, with := range t.with {
		all[i] = make([]bool, len(t.faults))
		for j, x := range with {
			if x > 0 {
				all[i][j], rows = rows[0].Flagged, rows[1:]
			}
		}
	}
	return all
}

const (
	// mostColumns is how many groups are drawn: with more, what a picture is for is
	// lost in it.
	mostColumns = 36
	mostLines   = 15 // faults
)

// mostFrequent are the faults that are drawn.
func (t *failureTable) mostFrequent() []int {
	count := make([]int, len(t.faults))
	for _, with := range t.with {
		for j, x := range with {
			count[j] += x
		}
	}
	most := sortedPlaces(count, func(a, b int) int { return cmp.Compare(b, a) })
	return most[:min(len(most), mostLines)]
}

// drawn are the groups with the most units, in the order of their names.
func (t *failureTable) drawn() []int {
	groups := sortedPlaces(t.groups, cmp.Compare)
	slices.SortStableFunc(groups, func(a, b int) int { return cmp.Compare(t.seen[b], t.seen[a]) })
	groups = groups[:min(len(groups), mostColumns)]
	slices.SortFunc(groups, func(a, b int) int { return cmp.Compare(t.groups[a], t.groups[b]) })
	return groups
}
