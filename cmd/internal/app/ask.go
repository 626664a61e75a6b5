package app

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"oldhand/cmd/internal/workdays"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// QuestionName is a fleet question, for a list.
type QuestionName struct {
	Name  string `json:"name"`
	Title string `json:"title"`
}

// Day is the day it is at the bench.
func (s *Shop) Day() string { return s.today().String() }

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
	Groups           []string // of those that By makes, these only
	Unit             string   // the tag or serial of the unit asked about
	Days, Year       int
	Working          string // count working days by a rule of package workdays; empty for calendar days
}

// NoQuestion is returned for a fleet question that is none.
type NoQuestion struct{ Name string }

func (e *NoQuestion) Error() string {
	return "question " + e.Name + ": is none of those asked here; list them with: oldhand ask"
}

// Ask answers a fleet question.
func (s *Shop) Ask(in Asking) (res *projections.Result, err error) {
	q, ok := projections.FindQuestion(in.Question)
	if !ok {
		return nil, &NoQuestion{in.Question}
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
		if in.Working != "" {
			calendar, err := workCalendar(v, in.Working)
			if err != nil {
				return &Wrong{"--working", err.Error()}
			}
			a.WorkDays = calendar.Count
		}
		var none *projections.NoGroup
		var noWay *projections.NoGrouping
		switch res, err = s.answers.Ask(v, q, a); {
		case errors.As(err, &none):
			return &Wrong{"--group " + none.Name, "is none of: " + strings.Join(none.Have, ", ")}
		case errors.As(err, &noWay):
			return &Wrong{"--by " + noWay.Name, "is none of: " + strings.Join(noWay.Have, ", ")}
		case err != nil:
			return fmt.Errorf("ask %s: %w", in.Question, err)
		}
		return nil
	})
	return res, err
}

func (s *Shop) asked(in Asking) (a projections.Asked, err error) {
	a = projections.Asked{AsOf: s.today(), Maker: in.Maker, Model: in.Model, By: in.By, Groups: in.Groups, Days: in.Days, Year: in.Year}
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
	if len(in.Groups) > 0 && in.Question != "turnaround" {
		return a, &Wrong{"--group", "is for turnaround; ask about a --maker or a --model"}
	}
	if in.Days < 0 {
		return a, &Wrong{"--days", "want a number of days above zero"}
	}
	return a, nil
}

// workCalendar is a calendar with the days that the shop said.
func workCalendar(v *eventlog.View, rule string) (*workdays.Calendar, error) {
	own, err := shopFacts[events.ShopDay](v)
	if err != nil {
		return nil, err
	}
	return workdays.New(rule, own)
}

// shopFacts are the shop's own facts of one kind, in the order recorded.
func shopFacts[B events.Body](r projections.Reader) ([]B, error) {
	evs, err := r.Events([16]byte{})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(evs, func(a, b events.Event) int { return a.ID.Compare(b.ID) })
	var facts []B
	for _, e := range evs {
		body, err := e.Body()
		if b, ok := body.(B); err == nil && ok {
			facts = append(facts, b)
		}
	}
	return facts, nil
}

// ShopDay says that the shop is closed on a day, or works on it.
func (s *Shop) ShopDay(text string, b events.ShopDay, w Who) (saved Saved, err error) {
	if b.Day, err = events.ParseDay(text); err != nil {
		return saved, &Wrong{"day", err.Error()}
	}
	err = s.act(func(tx *eventlog.Tx) error {
		saved = Saved{}
		return saved.add(tx, events.Draft{At: s.when(w), By: w.By, Body: b})
	})
	return saved, err
}
