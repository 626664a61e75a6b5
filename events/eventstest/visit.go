package eventstest

import (
	"context"
	"fmt"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Intake is a receiver that comes in with no sound on the left.
func Intake(at events.When) events.Draft {
	return events.Draft{At: at, By: "jo", Body: events.Received{Maker: "Corvane", Model: "R-410", Serial: "C4100731",
		KindOfSet: "receiver", Complaint: "no sound on the left"}}
}

// Note is words about a unit.
func Note(unit events.UnitID, text string) events.Draft {
	return events.Draft{About: unit, By: "jo", Body: events.Note{Text: text}}
}

// BenchWork is what follows an intake in a small visit, up to the set's way out.
func BenchWork(unit events.UnitID, at events.When) []events.Draft {
	bodies := []events.Body{
		events.FaultFound{Symptom: "no sound on the left", Component: "transistor", Designator: "Q702", Mode: "short"},
		events.PartReplaced{Designator: "Q702", Component: "transistor", In: events.Marking{Text: "2SC1815"}, Reason: "failed"},
		events.ReadingTaken{Point: "offset L", Text: "12 mV", Value: events.Quantity{Mant: 12, Exp: -3, Unit: "V"}, Stage: events.AsLeft},
		events.FinalTest{Verdict: "passed"},
		events.Shipped{Outcome: "repaired", WarrantyDays: 90},
	}
	drafts := make([]events.Draft, 0, len(bodies))
	for _, b := range bodies {
		drafts = append(drafts, events.Draft{About: unit, Visit: events.VisitID(unit), At: at, By: "jo", Body: b})
	}
	return drafts
}

// SaveVisit saves a whole small visit as one action and gives its unit. It is
// one intake and what BenchWork has.
func SaveVisit(t testing.TB, l *eventlog.Log) (unit events.UnitID) {
	t.Helper()
	at := events.AtTime(Morning)
	err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
		id, err := tx.Add(Intake(at))
		if err != nil {
			return err
		}
		unit = events.UnitID(id)
		for _, d := range BenchWork(unit, at) {
			if _, err := tx.Add(d); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatalf("save a visit: %v", err)
	}
	return unit
}

// SaveNotes saves one action of n notes about a unit, numbered from 1 behind
// the text, and gives their ids.
func SaveNotes(t testing.TB, l *eventlog.Log, unit events.UnitID, text string, n int) (ids []events.EventID) {
	t.Helper()
	err := l.Append(t.Context(), func(tx *eventlog.Tx) (err error) {
		ids, err = AddNotes(tx, unit, text, n)
		return err
	})
	if err != nil {
		t.Fatalf("save %d notes %q: %v", n, text, err)
	}
	return ids
}

// AddNotes adds n notes about a unit to an action and gives their ids.
func AddNotes(tx *eventlog.Tx, unit events.UnitID, text string, n int) (ids []events.EventID, err error) {
	for i := range n {
		id, err := tx.Add(Note(unit, fmt.Sprintf("%s %d", text, i+1)))
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// All reads every event of a log, feed by feed in the order of the feeds'
// names, through a view.
func All(t testing.TB, l *eventlog.Log) (evs []events.Event) {
	t.Helper()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	for _, b := range l.Branches() {
		evs = append(evs, branch(t, v, b.Branch)...)
	}
	return evs
}

// Feed reads every event of a feed.
func Feed(t testing.TB, v *eventlog.View, id events.FeedID) (evs []events.Event) {
	t.Helper()
	return branch(t, v, eventlog.First(id))
}

func branch(t testing.TB, v *eventlog.View, b eventlog.Branch) (evs []events.Event) {
	t.Helper()
	err := v.BranchEvents(b, 0, func(e events.Event) (bool, error) {
		evs = append(evs, e)
		return true, nil
	})
	if err != nil {
		t.Fatalf("read feed %s: %v", b.Feed.Short(), err)
	}
	return evs
}

// SaveBodies saves events of the shop, and notes about one unit, in one action.
func SaveBodies(ctx context.Context, l *eventlog.Log, unit events.UnitID, bodies ...events.Body) error {
	return l.Append(ctx, func(tx *eventlog.Tx) error {
		for _, body := range bodies {
			d := events.Draft{Body: body}
			if _, ok := body.(events.Note); ok {
				d.About = unit
			}
			if _, err := tx.Add(d); err != nil {
				return err
			}
		}
		return nil
	})
}
