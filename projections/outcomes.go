package projections

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

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

func outcomeRows(h *History) [][]byte {
	var rows [][]byte
	for _, v := range h.Visits {
		if v.End != Ended {
			continue
		}
		for _, g := range outcomeGroups {
			rows = append(rows, rowKey{g.key}.text(g.of(h, v)).text(v.outcome()))
		}
	}
	return rows
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
		return cmp.Or(cmp.Compare(p.Group, q.Group), cmp.Compare(q.Visits, p.Visits), cmp.Compare(p.Outcome, q.Outcome))
	})
	return res, nil
}
