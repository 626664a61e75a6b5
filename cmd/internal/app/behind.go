package app

import (
	"fmt"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Behind is a unit that is counted in a row of an answer.
type Behind struct {
	Match
	Times int // how often it is: a unit may have had a part twice
}

// UnitsBehind lists the units that a row of an answer counts, those that were
// first named last in front, at most so many of them; more is whether there are
// others. A list goes on behind the last unit of the part before it, which is
// named as a person would.
func (s *Shop) UnitsBehind(in Asking, row projections.RowName, last string, limit int) (units []Behind, more bool, err error) {
	q, ok := projections.FindQuestion(in.Question)
	if !ok {
		return nil, false, &NoQuestion{in.Question}
	}
	a, err := s.asked(in)
	if err != nil {
		return nil, false, err
	}
	err = s.view(func(v *eventlog.View) error {
		var from events.UnitID
		if last != "" {
			h, err := Resolve(v, last)
			if err != nil {
				return err
			}
			from = h.Root
		}
		err := projections.EachBehind(v, q, a, row, from, func(h *projections.History, times int) (bool, error) {
			if more = len(units) == limit; more {
				return false, nil
			}
			units = append(units, Behind{matchOf(h, projections.Match{Root: h.Root, Likeness: 1}), times})
			return true, nil
		})
		if err != nil {
			return fmt.Errorf("list the units behind %s: %w", in.Question, err)
		}
		return nil
	})
	return units, more, err
}
