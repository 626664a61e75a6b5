package app

import (
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Known is what is known of a unit while its serial, maker or model is typed.
type Known struct {
	Match
	Sure   bool    // maker, model and serial are equal: it is taken for this one
	Before *Before // its last visit
}

// KnownOf finds the units that a claim may be of, at most limit: the one that it
// is taken for, or those with the serial or one near it.
func (s *Shop) KnownOf(c events.Received, limit int) (list []Known, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := sameClaim(v, c)
		if err != nil {
			return err
		}
		if h != nil {
			list = append(list, s.knownAs(h, projections.Match{Root: h.Root, Likeness: 1}, true))
			return nil
		}
		found, err := projections.FindSerial(v, c.Serial, limit)
		if err == nil && len(found) == 0 && len(events.Key(c.Serial)) >= shortestEntry {
			found, err = projections.FindPiece(v, c.Serial, limit)
		}
		if err != nil {
			return err
		}
		for _, m := range found {
			h, err := load(v, m.Root)
			if err != nil {
				return err
			}
			list = append(list, s.knownAs(h, m, false))
		}
		return nil
	})
	return list, err
}

func (s *Shop) knownAs(h *projections.History, m projections.Match, sure bool) Known {
	return Known{matchOf(h, m), sure, beforeOf(h, s.today())}
}
