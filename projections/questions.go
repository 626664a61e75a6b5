package projections

import "oldhand/events"

// Questions is the table of fleet questions. Everything that shows, exports or
// proves an answer ranges over it.
var Questions = []Question{
	{ID: 1, Name: "rarity", Title: "how often each model comes in, and what was never seen", rows: rarityRows, answer: rarityAnswer, Takes: []string{"unit"}},
	{ID: 2, Name: "failures", Title: "what fails on sets of which year, model, maker or decade", rows: failureRows, reads: []events.Kind{events.KindFaultFound}, head: failureHead, answer: failureAnswer, By: []string{"year", "decade", "maker", "model"}},
	{ID: 3, Name: "turnaround", Title: "how long units stay, and what they wait for", rows: turnaroundRows, reads: []events.Kind{events.KindWaitingBegun, events.KindWaitingEnded}, rowsBy: turnaroundRowsBy, answer: turnaroundAnswer,
		By: []string{"all", "year", "model", "outcome"}, Takes: []string{"group", "days", "working"}},
	{ID: 4, Name: "comebacks", Title: "how many come back, how soon, and which too often", rows: comeBackRows, reads: []events.Kind{events.KindFaultFound}, head: comeBackHead, answer: comeBackAnswer, Takes: []string{"days", "unit"}},
	{ID: 5, Name: "parts", Title: "which parts are used, and how many a year", rows: partRows, reads: []events.Kind{events.KindPartReplaced}, head: partHead, answer: partAnswer},
	{ID: 6, Name: "year", Title: "a year beside the five before it", rows: yearRows, reads: []events.Kind{events.KindFaultFound, events.KindPartReplaced}, head: yearHead, answer: yearAnswer, Takes: []string{"year"}},
	{ID: 7, Name: "outcomes", Title: "how visits end, by kind of set, model, maker or year", rows: outcomeRows, answer: outcomeAnswer, By: []string{"all", "kind", "model", "maker", "year"}},
	{ID: 8, Name: "norms", Title: "what sets read at each point as they leave, by model", rows: normRows, reads: []events.Kind{events.KindReadingTaken}, head: normHeadOf, answer: normsAnswer, By: []string{"model", "point"}},
}

// tallied is every question whose rows are kept, and the shop's span.
var tallied = append(Questions[:len(Questions):len(Questions)], Question{ID: spanQuestion, rows: spanRows})

// FindQuestion finds a question by its name.
func FindQuestion(name string) (Question, bool) {
	for _, q := range Questions {
		if q.Name == name {
			return q, true
		}
	}
	return Question{}, false
}
