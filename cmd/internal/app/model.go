package app

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// ModelPast is what the shop knows of one model. Its answers are those of the
// fleet questions, as far as they are about the model.
type ModelPast struct {
	Maker, Model string
	AsOf         string
	Rarity       projections.RarityRow
	Rank, Models int                      // it is the Rank-th most frequent of so many models
	Faults       []projections.FailureRow // the most frequent first
	Stay         *projections.Result      // turnaround of this model alone; nil where nothing is known of it
	Units        []Match                  // the last ones that were first named
	Named        int                      // how many there are of those
}

// NoModel is returned for a model of which no unit came in.
type NoModel struct{ Maker, Model string }

func (e *NoModel) Error() string {
	return fmt.Sprintf("no unit of maker %q and model %q ever came in here", e.Maker, e.Model)
}

// OfModel tells what is known of a model, however it is spelled, with at most so
// many of its units.
func (s *Shop) OfModel(maker, model string, limit int) (m ModelPast, err error) {
	err = s.view(func(v *eventlog.View) error {
		if err := s.rarityOf(v, maker, model, &m); err != nil {
			return err
		}
		if err := s.faultsOf(v, &m); err != nil {
			return err
		}
		if err := s.stayOf(v, &m); err != nil {
			return err
		}
		units, n, err := projections.ByModel(v, maker, model, limit)
		if err != nil {
			return err
		}
		m.Named = n
		for _, h := range units {
			m.Units = append(m.Units, matchOf(h, projections.Match{Root: h.Root, Likeness: 1}))
		}
		return nil
	})
	return m, err
}

// about asks a question of all units, whose answer is kept.
func (s *Shop) about(v *eventlog.View, question string, a projections.Asked) (*projections.Result, error) {
	q, ok := projections.FindQuestion(question)
	if !ok {
		return nil, fmt.Errorf("ask %s: there is no such question", question)
	}
	a.AsOf = s.today()
	res, err := s.answers.Ask(v, q, a)
	if err != nil {
		return nil, fmt.Errorf("ask %s: %w", question, err)
	}
	return res, nil
}

func sameModel(maker, model, otherMaker, otherModel string) bool {
	return events.Key(maker) == events.Key(otherMaker) && events.Key(model) == events.Key(otherModel)
}

func (s *Shop) rarityOf(v *eventlog.View, maker, model string, m *ModelPast) error {
	res, err := s.about(v, "rarity", projections.Asked{})
	if err != nil {
		return err
	}
	m.AsOf, m.Models = res.AsOf, len(res.Rows)
	for i, r := range res.Rows {
		if row, ok := r.(projections.RarityRow); ok && sameModel(row.Maker, row.Model, maker, model) {
			m.Maker, m.Model, m.Rarity, m.Rank = row.Maker, row.Model, row, i+1
			return nil
		}
	}
	return &NoModel{maker, model}
}

// faultsOf takes the model's rows out of the answer about all models: what it is
// compared with is all the others.
func (s *Shop) faultsOf(v *eventlog.View, m *ModelPast) error {
	res, err := s.about(v, "failures", projections.Asked{By: "model"})
	if err != nil {
		return err
	}
	for _, r := range res.Rows {
		if row, ok := r.(projections.FailureRow); ok && events.Key(row.Group) == events.Key(m.Maker+m.Model) {
			m.Faults = append(m.Faults, row)
		}
	}
	slices.SortStableFunc(m.Faults, func(a, b projections.FailureRow) int { return b.Units - a.Units })
	return nil
}

func (s *Shop) stayOf(v *eventlog.View, m *ModelPast) error {
	all, err := s.about(v, "turnaround", projections.Asked{By: "model"})
	if err != nil {
		return err
	}
	for _, r := range all.Rows {
		if row, ok := r.(projections.TurnaroundRow); ok && events.Key(row.Group) == events.Key(m.Maker+m.Model) {
			m.Stay, err = s.about(v, "turnaround", projections.Asked{By: "model", Groups: []string{row.Group}})
			return err
		}
	}
	return nil
}

// mostDrawn is how many faults a picture shows.
const mostDrawn = 12

// FaultsPicture is how often each fault is found on units of the model; nil where
// none was.
func (m ModelPast) FaultsPicture() *projections.Picture {
	if len(m.Faults) == 0 {
		return nil
	}
	p := &projections.Picture{Title: "Faults of " + nameOf(m.Maker, m.Model), AxisX: "% of its units"}
	for _, row := range m.Faults[:min(len(m.Faults), mostDrawn)] {
		name := strings.ReplaceAll(strings.TrimSpace(row.Component+" "+row.Mode), "-", " ")
		p.Bars = append(p.Bars, projections.PictureBar{Name: name, Value: 100 * row.Share, Lo: 100 * row.Low, Hi: 100 * row.High, Text: strconv.Itoa(row.Units)})
	}
	p.Desc = fmt.Sprintf("%s is found most: on %d of %d units.", p.Bars[0].Name, m.Faults[0].Units, m.Faults[0].Of)
	return p
}
