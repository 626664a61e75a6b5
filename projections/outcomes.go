package projections

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/projections/stats"
)

// OutcomeRow is one row of the answer: how visits of a group ended.
type OutcomeRow struct {
	Group   string  `json:"group"`
	Outcome string  `json:"outcome"`
	Visits  int     `json:"visits"`
	Of      int     `json:"of"` // visits of the group that were shipped
	Share   float64 `json:"share"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
}

// outcomeGroups are the ways of grouping.
var outcomeGroups = []struct {
	key  byte
	name string
	of   func(*History, Visit) string
}{
	{'a', "all", func(*History, Visit) string { return "all" }},
	{'k', "kind", func(h *History, _ Visit) string { return h.KindOfSet }},
	{'m', "model", func(h *History, _ Visit) string { return joinName(h.Maker, h.Model) }},
	{'b', "maker", func(h *History, _ Visit) string { return h.Maker }},
	{'y', "year", func(_ *History, v Visit) string { return strconv.Itoa(v.day().Date().Year()) }},
}

func outcomeRows(h *History, to *rowList) {
	for _, v := range h.Visits {
		if v.End != Ended {
			continue
		}
		outcome := v.outcome()
		for _, g := range outcomeGroups {
			to.add(to.key(g.key).text(g.of(h, v)).text(outcome))
		}
	}
}

// outcomeAnswer tells which share of the visits of each group ended how.
func outcomeAnswer(t Tally, a Asked) (*Result, error) {
	by := -1
	var ways []string
	for i, g := range outcomeGroups {
		ways = append(ways, g.name)
		if g.name == choose(a.By == "", "all", a.By) {
			by = i
		}
	}
	if by < 0 {
		return nil, fmt.Errorf("outcomes by %q: there are %s", a.By, strings.Join(ways, ", "))
	}
	type ending struct{ group, outcome string }
	read, visits := map[ending]int{}, map[string]int{}
	err := t.Each([]byte{outcomeGroups[by].key}, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row[1:]}
		e := ending{rr.text(), rr.text()}
		read[e] += n
		visits[e.group] += n
		return true, rr.err()
	})
	if err != nil {
		return nil, err
	}
	shown := spelledOnce(outcomeGroups[by].name, visits)
	counts, of := map[ending]int{}, map[string]int{}
	for e, n := range read {
		counts[ending{shown[e.group], e.outcome}] += n
		of[shown[e.group]] += n
	}
	res := &Result{Method: "visits that ended so among those that were shipped; Wilson interval, 95 %"}
	for e, n := range counts {
		s := stats.Share{X: n, N: of[e.group]}
		limits, err := stats.Wilson(s, stats.Level{})
		if err != nil {
			return nil, err
		}
		res.Rows = append(res.Rows, OutcomeRow{e.group, e.outcome, n, s.N, s.Rate(), limits.Lo, limits.Hi})
	}
	slices.SortFunc(res.Rows, func(x, y any) int {
		p, q := x.(OutcomeRow), y.(OutcomeRow)
		return cmp.Or(knownFirst(p.Group, q.Group), cmp.Compare(q.Visits, p.Visits), cmp.Compare(p.Outcome, q.Outcome))
	})
	if name := outcomeGroups[by].name; name == "all" {
		res.Picture = endingsPicture(res.Rows)
	} else {
		res.Picture, err = repairedPicture(res.Rows, name)
	}
	return res, err
}

// endingsPicture is the share of each ending.
func endingsPicture(rows []any) *Picture {
	if len(rows) == 0 {
		return nil
	}
	p := &Picture{Title: "How visits end", AxisX: "% of the visits that were shipped"}
	for _, r := range rows[:min(len(rows), 20)] {
		row := r.(OutcomeRow)
		p.Bars = append(p.Bars, outcomeBar(strings.ReplaceAll(row.Outcome, "-", " "), row))
	}
	p.Desc = fmt.Sprintf("%s: %s of %s.", p.Bars[0].Name, p.Bars[0].Text, events.Count(rows[0].(OutcomeRow).Of, "visit"))
	return p
}

// repairedPicture is the share of repaired visits of the groups with the most.
func repairedPicture(rows []any, by string) (*Picture, error) {
	repaired := map[string]OutcomeRow{}
	for _, r := range rows {
		row := r.(OutcomeRow)
		if _, ok := repaired[row.Group]; !ok || row.Outcome == "repaired" {
			repaired[row.Group] = row
		}
	}
	groups := slices.SortedFunc(maps.Values(repaired), func(x, y OutcomeRow) int {
		return cmp.Or(cmp.Compare(y.Of, x.Of), cmp.Compare(x.Group, y.Group))
	})
	if len(groups) == 0 {
		return nil, nil
	}
	p := &Picture{Title: "Share repaired, by " + by, AxisX: "% of the visits that were shipped"}
	for _, row := range groups[:min(len(groups), 20)] {
		if row.Outcome != "repaired" { // none of the group was
			limits, err := stats.Wilson(stats.Share{N: row.Of}, stats.Level{})
			if err != nil {
				return nil, err
			}
			row.Visits, row.Share, row.Low, row.High = 0, 0, limits.Lo, limits.Hi
		}
		p.Bars = append(p.Bars, outcomeBar(choose(row.Group == "", "not known", row.Group), row))
	}
	p.Desc = fmt.Sprintf("%s: %s repaired of %s.", p.Bars[0].Name, p.Bars[0].Text, events.Count(groups[0].Of, "visit"))
	return p, nil
}

func outcomeBar(name string, row OutcomeRow) PictureBar {
	return PictureBar{name, 100 * row.Share, 100 * row.Low, 100 * row.High, strconv.Itoa(row.Visits)}
}
