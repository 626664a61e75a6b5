package figures

import (
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// peerQuestions are the same questions for the peer, over a table of visits and
// one of faults. They count; the intervals that ours adds are not asked of it.
var peerQuestions = map[string]string{
	"rarity":     "SELECT maker, model, COUNT(DISTINCT unit), COUNT(*), MIN(received), MAX(received) FROM visit GROUP BY maker, model",
	"failures":   "SELECT year, component, mode, COUNT(DISTINCT unit) FROM fault GROUP BY year, component, mode",
	"turnaround": "SELECT shipped - received, COUNT(*) FROM visit GROUP BY 1",
	"outcomes":   "SELECT outcome, COUNT(*) FROM visit GROUP BY outcome",
}

// fillRows gives the peer the visits and faults as rows, indexed.
func fillRows(b *testing.B, p *peer, v *eventlog.View) {
	b.Helper()
	exec := func(text string, args ...any) {
		if _, err := p.db.Exec(text, args...); err != nil {
			b.Fatal(err)
		}
	}
	exec(`CREATE TABLE visit (unit BLOB, maker TEXT, model TEXT, received INTEGER, shipped INTEGER, outcome TEXT)`)
	exec(`CREATE TABLE fault (unit BLOB, year INTEGER, component TEXT, mode TEXT)`)
	exec("BEGIN")
	err := projections.EachHistory(v, func(h *projections.History) (bool, error) {
		for _, visit := range h.Visits {
			var shipped, outcome any
			for _, e := range visit.Entries {
				switch x := e.Decode().(type) {
				case events.Shipped:
					shipped, outcome = int(e.At.Day), x.Outcome
				case events.FaultFound:
					exec("INSERT INTO fault VALUES (?, ?, ?, ?)", h.Root[:], h.YearFrom, x.Component, x.Mode)
				}
			}
			exec("INSERT INTO visit VALUES (?, ?, ?, ?, ?, ?)", h.Root[:], h.Maker, h.Model, int(visit.Received.Day), shipped, outcome)
		}
		return true, nil
	})
	if err != nil {
		b.Fatal(err)
	}
	exec("COMMIT")
	exec("CREATE INDEX visit_model ON visit (maker, model, unit, received)")
	exec("CREATE INDEX fault_year ON fault (year, component, mode, unit)")
	exec("ANALYZE")
}

// Each fleet question as of today, from tallies that are kept; beside it the
// peer's counting over rows.
func BenchmarkAnswers(b *testing.B) {
	story, all := corpus(b)
	l, p := both(b, story, all)
	v, err := l.View()
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	fillRows(b, p, v)
	for b.Loop() {
		for _, q := range projections.Questions {
			var ours, theirs []time.Duration
			for range 9 {
				ours = append(ours, timed(func() {
					if _, err := projections.Ask(v, q, projections.Asked{AsOf: events.NewDay(2026, 12, 1)}); err != nil {
						b.Fatal(err)
					}
				}))
				if text := peerQuestions[q.Name]; text != "" {
					theirs = append(theirs, timed(func() { askPeer(b, p, text) }))
				}
			}
			if len(theirs) == 0 {
				row("answer: "+q.Name, median(ours), "", 0, "<= 1 ms")
				continue
			}
			row("answer: "+q.Name, median(ours), median(theirs), float64(median(ours))/float64(median(theirs)), "<= 1 ms")
		}
	}
}

func askPeer(b *testing.B, p *peer, text string) {
	rows, err := p.db.Query(text)
	if err != nil {
		b.Fatal(err)
	}
	for rows.Next() {
	}
	if err := rows.Close(); err != nil {
		b.Fatal(err)
	}
}
