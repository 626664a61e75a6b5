package app

import (
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// QuestionName is a fleet question, for a list.
type QuestionName struct {
	Name  string `json:"name"`
	Title string `json:"title"`
}

// Questions lists the fleet questions.
func Questions() []QuestionName {
	list := make([]QuestionName, 0, len(projections.Questions))
	for _, q := range projections.Questions {
		list = append(list, QuestionName{q.Name, q.Title})
	}
	return list
}

// Ask answers a fleet question as of a day, today if it is empty.
func (s *Shop) Ask(name, asOf string) (res *projections.Result, err error) {
	q, ok := projections.FindQuestion(name)
	if !ok {
		return nil, &Wrong{"question " + name, "is none of those asked here; list them with: oldhand ask"}
	}
	day := s.today()
	if asOf != "" {
		if day, err = events.ParseDay(asOf); err != nil {
			return nil, &Wrong{"--as-of", err.Error()}
		}
	}
	err = s.view(func(v *eventlog.View) error {
		res, err = projections.Ask(v, q, day)
		return err
	})
	return res, err
}
