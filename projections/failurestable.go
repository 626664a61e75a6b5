package projections

import (
	"bytes"
	"fmt"
	"slices"
)

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

// failureTable is units seen and units with each fault, by group. Groups and faults
// are in order, and numbered by their places.
type failureTable struct {
	groups []string
	seen   []int // of each group
	faults []fault
	with   [][]int           // units of each group, with each fault
	maker  map[string]string // of a model
	years  map[string]int
	words  int

	written, makers names // how models and makers are spelled
}

// unknown is how many units are of no known group.
func (t *failureTable) unknown() int {
	if i := slices.Index(t.groups, ""); i >= 0 {
		return t.seen[i]
	}
	return 0
}

func (t *failureTable) smallGroups() (n int) {
	for i, g := range t.groups {
		if g != "" && t.seen[i] < 5 {
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
	table := &failureTable{maker: map[string]string{}, years: map[string]int{}, written: names{}, makers: names{}}
	if g.seen == failureModel {
		if err := table.readNames(t); err != nil {
			return nil, err
		}
	}
	r := failureReading{table: table, group: g.group, groups: map[string]int{}, faults: map[string]int{}}
	if err := eachRow(t, g.seen, r.addSeen); err != nil {
		return nil, err
	}
	if err := eachRow(t, g.fault, r.addFault); err != nil {
		return nil, err
	}
	r.inOrder()
	return table, eachRow(t, failureWords, func(_ *rowReader, n int) { table.words += n })
}

// failureReading is rows on their way into a table. Those of one group mostly stand
// together, so that its name is made once.
type failureReading struct {
	table          *failureTable
	group          func(*rowReader, *failureTable) string
	groups, faults map[string]int // their numbers, in the order they came

	head   []byte // what the last row had of its group
	nameOf int
}

// in is the number of a row's group.
func (r *failureReading) in(rr *rowReader) int {
	if r.head != nil && bytes.HasPrefix(rr.b, r.head) {
		rr.b = rr.b[len(r.head):]
		return r.nameOf
	}
	row := rr.b
	name := r.group(rr, r.table)
	r.head = append(r.head[:0], row[:len(row)-len(rr.b)]...)
	n, known := r.groups[name]
	if !known {
		n = len(r.groups)
		r.groups[name] = n
		r.table.groups, r.table.seen, r.table.with = append(r.table.groups, name), append(r.table.seen, 0), append(r.table.with, nil)
	}
	r.nameOf = n
	return n
}

func (r *failureReading) addSeen(rr *rowReader, n int) { r.table.seen[r.in(rr)] += n }

func (r *failureReading) addFault(rr *rowReader, n int) {
	group := r.in(rr)
	at, known := r.faults[string(rr.b)]
	if known {
		rr.b = nil
	} else {
		at = len(r.faults)
		r.faults[string(rr.b)] = at
		r.table.faults = append(r.table.faults, fault{rr.text(), rr.text()})
	}
	r.table.with[group] = addAt(r.table.with[group], at, n)
}

// inOrder numbers groups and faults by their order.
func (r *failureReading) inOrder() {
	t := r.table
	groups := sortedPlaces(t.groups, knownFirst)
	faults := sortedPlaces(t.faults, compareFaults)
	with := make([][]int, len(groups))
	for i, g := range groups {
		with[i] = make([]int, len(faults))
		for j, f := range faults {
			if f < len(t.with[g]) {
				with[i][j] = t.with[g][f]
			}
		}
	}
	t.groups, t.seen, t.faults, t.with = inPlaces(t.groups, groups), inPlaces(t.seen, groups), inPlaces(t.faults, faults), with
}

// sortedPlaces are the places of a list's values, in the order of those.
func sortedPlaces[T any](list []T, compare func(a, b T) int) []int {
	places := make([]int, len(list))
	for i := range places {
		places[i] = i
	}
	slices.SortStableFunc(places, func(a, b int) int { return compare(list[a], list[b]) })
	return places
}

func inPlaces[T any](list []T, places []int) []T {
	sorted := make([]T, len(list))
	for i, at := range places {
		sorted[i] = list[at]
	}
	return sorted
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
