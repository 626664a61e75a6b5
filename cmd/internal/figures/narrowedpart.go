package main

import (
	"fmt"
	"strings"

	"oldhand/events"
	"oldhand/projections"
)

// Questions about the units of the maker with the most, and about one year's visits. Ours
// has no tallies of those and goes through their histories; the peers count over rows as
// ever.
func narrowedPart(t *turn) {
	lite := t.lite()
	var maker string
	t.check(lite.db.QueryRow(`SELECT maker FROM visit WHERE maker <> '' GROUP BY maker ORDER BY COUNT(*) DESC, maker LIMIT 1`).Scan(&maker))
	t.askBoth([]bothAsked{t.ofMaker(maker), t.ofYear(asOf.Date().Year() - 1)}, goal{}, lite, t.duck())
}

// narrowed is a fleet question about some units or visits.
func (t *turn) narrowed(question, of string, about projections.Asked, peer peerQuestion) bothAsked {
	q, ok := projections.FindQuestion(question)
	if !ok {
		t.Fatalf("there is no question %q", question)
	}
	return bothAsked{"narrowed: " + question + " of a " + of, q, about, peer}
}

func (t *turn) ofMaker(maker string) bothAsked {
	quoted := "'" + strings.ReplaceAll(maker, "'", "''") + "'"
	return t.narrowed("outcomes", "maker", projections.Asked{AsOf: asOf, Maker: maker}, peerQuestion{
		asks:   []string{`SELECT outcome, COUNT(*) FROM visit WHERE ending = 1 AND maker = ` + quoted + ` GROUP BY outcome`},
		theirs: theirOutcomes, ours: ourOutcomes,
	})
}

func (t *turn) ofYear(year int) bothAsked {
	from, to := events.NewDay(year, 1, 1), events.NewDay(year, 12, 31)
	days := fmt.Sprintf("received BETWEEN %d AND %d", from, to)
	return t.narrowed("turnaround", "year", projections.Asked{AsOf: asOf, From: &from, To: &to}, peerQuestion{
		asks: []string{
			`SELECT days, COUNT(*) FROM visit WHERE days IS NOT NULL AND ` + days + ` GROUP BY days`,
			`SELECT received, COUNT(*) FROM visit WHERE ending = 0 AND ` + days + ` GROUP BY received`,
			`SELECT what, CAST(SUM(wait.days) AS BIGINT) FROM visit JOIN wait ON wait.visit = visit.visit WHERE ` + days + ` GROUP BY what`,
		},
		theirs: theirTurnaround, ours: ourTurnaround,
	})
}
