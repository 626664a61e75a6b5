package app

import (
	"fmt"

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

// Asking is a question as it was typed.
type Asking struct {
	Question         string
	AsOf, From, To   string // days; empty for today, and for all
	Maker, Model, By string
	Unit             string // the tag or serial of the unit asked about
	Days             int
}

// Ask answers a fleet question.
func (s *Shop) Ask(in Asking) (res *projections.Result, err error) {
	q, ok := projections.FindQuestion(in.Question)
	if !ok {
		return nil, &Wrong{"question " + in.Question, "is none of those asked here; list them with: oldhand ask"}
	}
	a, err := s.asked(in)
	if err != nil {
		return nil, err
	}
	err = s.view(func(v *eventlog.View) error {
		if in.Unit != "" {
			h, err := Resolve(v, in.Unit)
			if err != nil {
				return err
			}
			a.Unit = h.Root
		}
		if res, err = projections.Ask(v, q, a); err != nil {
			return fmt.Errorf("ask %s: %w", in.Question, err)
		}
		return nil
	})
	return res, err
}

func (s *Shop) asked(in Asking) (a projections.Asked, err error) {
	a = projections.Asked{AsOf: s.today(), Maker: in.Maker, Model: in.Model, By: in.By, Days: in.Days}
	if in.AsOf != "" {
		if a.AsOf, err = events.ParseDay(in.AsOf); err != nil {
			return a, &Wrong{"--as-of", err.Error()}
		}
	}
	for _, d := range []struct {
		flag, text string
		into       **events.Day
	}{{"--from", in.From, &a.From}, {"--to", in.To, &a.To}} {
		if d.text == "" {
			continue
		}
		day, err := events.ParseDay(d.text)
		if err != nil {
			return a, &Wrong{d.flag, err.Error()}
		}
		*d.into = &day
	}
	if a.From != nil && a.To != nil && *a.From > *a.To {
		return a, &Wrong{"--from " + in.From, "is after --to " + in.To}
	}
	if in.Days < 0 {
		return a, &Wrong{"--days", "want a number of days above zero"}
	}
	return a, nil
}
