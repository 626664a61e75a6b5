package projections

// Questions is the table of fleet questions. Everything that shows, exports or
// proves an answer ranges over it.
var Questions = []Question{
	{ID: 1, Name: "rarity", Title: "How many of each model ever came in", rows: rarityRows, answer: rarityAnswer},
}

// FindQuestion finds a question by its name.
func FindQuestion(name string) (Question, bool) {
	for _, q := range Questions {
		if q.Name == name {
			return q, true
		}
	}
	return Question{}, false
}
