package main

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/projections"
)

// askedYear is the last whole year before asOf, whose visits are asked about.
var askedYear = [2]events.Day{events.NewDay(2025, 1, 1), events.NewDay(2025, 12, 31)}

// narrowedQuestions are questions about a maker's units and about the visits of a year, by
// what they are called. Ours has no tallies of those and goes through their histories; the
// peers count over rows as ever.
func narrowedQuestions(maker string) map[string]bothAsked {
	quoted := "'" + strings.ReplaceAll(maker, "'", "''") + "'"
	days := fmt.Sprintf("received BETWEEN %d AND %d", askedYear[0], askedYear[1])
	outcomes, _ := projections.FindQuestion("outcomes")
	turnaround, _ := projections.FindQuestion("turnaround")
	return map[string]bothAsked{
		"outcomes of a maker": {outcomes, projections.Asked{AsOf: asOf, Maker: maker}, peerQuestion{
			asks:   []string{`SELECT outcome, COUNT(*) FROM visit WHERE ending = 1 AND maker = ` + quoted + ` GROUP BY outcome`},
			theirs: theirOutcomes, ours: ourOutcomes,
		}},
		"turnaround of a year": {turnaround, projections.Asked{AsOf: asOf, From: &askedYear[0], To: &askedYear[1]}, peerQuestion{
			asks: []string{
				`SELECT days, COUNT(*) FROM visit WHERE days IS NOT NULL AND ` + days + ` GROUP BY days`,
				`SELECT received, COUNT(*) FROM visit WHERE ending = 0 AND ` + days + ` GROUP BY received`,
				`SELECT what, CAST(SUM(wait.days) AS BIGINT) FROM visit JOIN wait ON wait.visit = visit.visit WHERE ` + days + ` GROUP BY what`,
			},
			theirs: theirTurnaround, ours: ourTurnaround,
		}},
	}
}

// Questions about the units of the maker with the most, and about one year's visits.
func narrowedPart(t *turn) {
	v := t.viewOf(t.front())
	for i, p := range []*rowPeer{t.lite(), t.duck()} {
		var maker string
		t.check(p.db.QueryRow(`SELECT maker FROM visit WHERE maker <> '' GROUP BY maker ORDER BY COUNT(*) DESC, maker LIMIT 1`).Scan(&maker))
		questions := narrowedQuestions(maker)
		for _, name := range slices.Sorted(maps.Keys(questions)) {
			f := &figure{name: "narrowed: " + name, unit: seconds, peer: p.name}
			if i > 0 {
				f.name += ", beside " + p.name
			}
			t.try(f, func(t *turn) { t.compare(f, v, questions[name], p) })
		}
	}
}
