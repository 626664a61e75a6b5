package app

import (
	"fmt"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Disputed is a unit of which facts have versions that did not see each other.
type Disputed struct {
	Tag       string         `json:"tag"`
	Unit      string         `json:"unit"`
	Name      string         `json:"name"`
	Conflicts []PastConflict `json:"conflicts"`
}

// Conflicts lists the units that a person should settle something of.
func (s *Shop) Conflicts() (list []Disputed, err error) {
	list = []Disputed{}
	err = s.view(func(v *eventlog.View) error {
		return projections.EachDisputed(v, func(h *projections.History) (bool, error) {
			var u PastUnit
			if err := u.addConflicts(v, h); err != nil {
				return false, err
			}
			list = append(list, Disputed{firstTag(h), h.Root.String(), strings.TrimSpace(h.Maker + " " + h.Model), u.Conflicts})
			return true, nil
		})
	})
	return list, err
}

// Settle ends a conflict: of its versions one is kept, named by its place in the
// list, from 1, or by the end of its id. The entry says which conflict, where a
// unit has several.
func (s *Shop) Settle(typed, entry, keep, why string, w Who) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		h, err := Resolve(tx, typed)
		if err != nil {
			return err
		}
		c, err := conflictOf(h, entry)
		if err != nil {
			return err
		}
		kept, err := versionOf(c, keep)
		if err != nil {
			return err
		}
		evs, err := unitEvents(tx, h)
		if err != nil {
			return err
		}
		saved = savedOf(h)
		return saved.add(tx, events.Draft{About: evs[kept].About, At: s.when(w), By: w.By,
			Body: events.Settled{Settles: c.Versions, Keep: kept, Why: why}})
	})
	return saved, err
}

// conflictOf is the conflict that is meant, the only one if none was named.
func conflictOf(h *projections.History, entry string) (found projections.Conflict, err error) {
	n, want := 0, strings.ToUpper(strings.TrimSpace(entry))
	for _, c := range h.Conflicts {
		if want == "" || len(want) >= shortestEntry && strings.HasSuffix(c.Fact.String(), want) {
			found, n = c, n+1
		}
	}
	switch {
	case len(h.Conflicts) == 0:
		return found, &NotHere{unitName(h), "has nothing in conflict"}
	case n == 0:
		return found, &Wrong{"--entry " + entry, fmt.Sprintf("is no entry of %s that is in conflict", unitName(h))}
	case n > 1:
		return found, &Wrong{"--entry", fmt.Sprintf("say which of the %d conflicts of %s; see them with: oldhand conflicts", n, unitName(h))}
	}
	return found, nil
}

func versionOf(c projections.Conflict, keep string) (id events.EventID, err error) {
	if n, err := strconv.Atoi(keep); err == nil && n >= 1 && n <= len(c.Versions) {
		return c.Versions[n-1], nil
	}
	want := strings.ToUpper(strings.TrimSpace(keep))
	for _, v := range c.Versions {
		if len(want) >= shortestEntry && strings.HasSuffix(v.String(), want) {
			return v, nil
		}
	}
	return id, &Wrong{"--keep " + keep, fmt.Sprintf("want a version from 1 to %d, in the order shown", len(c.Versions))}
}

// unitEvents are all events of a unit, by id.
func unitEvents(r projections.Reader, h *projections.History) (map[events.EventID]events.Event, error) {
	byID := map[events.EventID]events.Event{}
	for _, m := range h.Members {
		evs, err := r.Events(m)
		if err != nil {
			return nil, err
		}
		for _, e := range evs {
			byID[e.ID] = e
		}
	}
	return byID, nil
}
