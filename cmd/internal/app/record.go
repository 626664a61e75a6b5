package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Who says when something happened and who recorded it.
type Who struct {
	At events.When // unknown means now
	By string      // the shop's own short name for a technician
}

// Saved says what an action wrote.
type Saved struct {
	Unit   string        `json:"unit"`
	Tag    string        `json:"tag,omitempty"`
	Name   string        `json:"name,omitempty"` // maker and model
	Events []SavedEvent  `json:"events"`
	Notes  []string      `json:"notes,omitempty"` // what a person should know besides
	Usual  string        `json:"usual,omitempty"` // of a reading: what other sets of the model read there
	unit   events.UnitID // the id to go on with
}

// SavedEvent is one event of an action.
type SavedEvent struct {
	ID   events.EventID `json:"id"`
	Kind string         `json:"kind"`
	Line string         `json:"line"`

	Caution string `json:"caution,omitempty"` // to stand beside it wherever it is shown
}

func (s *Shop) act(fn func(tx *eventlog.Tx) error) error {
	return s.Log.Append(context.Background(), s.sending.around(fn))
}

// when is the time of an action, now where none was said.
func (s *Shop) when(w Who) events.When {
	if w.At.Precision != events.Unknown {
		return w.At
	}
	return events.AtTime(s.now())
}

// Record adds events to the visit of the unit that a person named. The visit
// is the one on the bench, or, for a time in the past, the one that had begun
// by then.
func (s *Shop) Record(typed string, w Who, bodies ...events.Body) (Saved, error) {
	return s.record(typed, w, func(*eventlog.Tx, *projections.History) ([]events.Body, error) { return bodies, nil })
}

func (s *Shop) record(typed string, w Who, build func(*eventlog.Tx, *projections.History) ([]events.Body, error)) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		h, err := Resolve(tx, typed)
		if err != nil {
			return err
		}
		bodies, err := build(tx, h)
		if err != nil {
			return err
		}
		visit, at, note, err := s.visitFor(h, w, bodies)
		if err != nil {
			return err
		}
		if bodies, err = knownWords(tx, bodies); err != nil {
			return err
		}
		if err := s.mayPass(tx, h, visit, bodies, at); err != nil {
			return err
		}
		saved = savedOf(h)
		saved.note(note)
		for _, b := range bodies {
			if err := saved.add(tx, events.Draft{About: h.Root, Visit: visit, At: at, By: w.By, Body: b}); err != nil {
				return err
			}
		}
		return nil
	})
	return saved, err
}

func savedOf(h *projections.History) Saved {
	return Saved{Unit: h.Root.String(), Tag: firstTag(h), Name: nameOf(h.Maker, h.Model), unit: h.Root}
}

func (s *Saved) add(tx *eventlog.Tx, d events.Draft) error {
	id, err := tx.Add(d)
	if err != nil {
		return err
	}
	s.Events = append(s.Events, SavedEvent{id, d.Body.Kind().String(), d.Body.Line(), CautionOf(d.Body)})
	return nil
}

func (s *Saved) note(text string) {
	if text != "" {
		s.Notes = append(s.Notes, text)
	}
}

// say puts the last event in the words of what was typed.
func (s *Saved) say(line string) {
	if n := len(s.Events); n > 0 {
		s.Events[n-1].Line = line
	}
}

func nameOf(maker, model string) string {
	switch {
	case maker == "":
		return model
	case model == "":
		return maker
	}
	return maker + " " + model
}

// notLater refuses a day that lies in the future by more than a time zone.
func (s *Shop) notLater(at events.When) error {
	if at.Precision != events.Unknown && at.Day > s.today()+1 {
		return &Wrong{at.Day.String(), "lies in the future"}
	}
	return nil
}

// visitFor is the visit that new facts belong to, and when they happened, with what
// to tell of that.
func (s *Shop) visitFor(h *projections.History, w Who, bodies []events.Body) (id events.VisitID, at events.When, note string, err error) {
	at = s.when(w)
	if err := s.notLater(at); err != nil {
		return id, at, "", err
	}
	needsBench := slices.ContainsFunc(bodies, func(b events.Body) bool { return !betweenVisits(b.Kind()) })
	if needsBench {
		if err := s.farAhead(h, w); err != nil {
			return id, at, "", err
		}
	}
	if h.OpenVisit() != nil {
		at, note = s.afterLast(h, w)
	}
	if slices.ContainsFunc(bodies, func(b events.Body) bool { return b.Kind() == events.KindShipped }) {
		id, err = visitToEnd(h, at)
	} else {
		id, err = visitAt(h, w, at, needsBench)
	}
	return id, at, note, err
}

// visitAt is the visit that what happened then belongs to.
func visitAt(h *projections.History, w Who, at events.When, needsBench bool) (events.VisitID, error) {
	if v := h.OpenVisit(); v != nil && dayOf(v.Received, events.EventID(v.ID)) <= at.Day {
		return v.ID, nil
	}
	if needsBench && w.At.Precision == events.Unknown {
		return events.VisitID{}, &NotHere{unitName(h), "is not on a bench; receive it first, or say with --at when it was so"}
	}
	for i := len(h.Visits) - 1; i >= 0; i-- {
		if v := h.Visits[i]; dayOf(v.Received, events.EventID(v.ID)) <= at.Day {
			return v.ID, nil
		}
	}
	if needsBench {
		return events.VisitID{}, &NotHere{unitName(h), fmt.Sprintf("had not come in by %s", at)}
	}
	return events.VisitID{}, nil
}

// betweenVisits are kinds that can be said of a unit that is not in the shop.
func betweenVisits(k events.Kind) bool {
	switch k {
	case events.KindNote, events.KindIdentified, events.KindEvidenceAttached:
		return true
	}
	return false
}

func dayOf(w events.When, id events.EventID) events.Day {
	if w.Precision == events.Unknown {
		return events.DayOf(id.Stamp().Time())
	}
	return w.Day
}

func unitName(h *projections.History) string {
	if t := firstTag(h); t != "" {
		return t
	}
	return nameOf(h.Maker, h.Model)
}

// Ship ends the visit on the bench, or, for a day in the past, one that ended
// then without anybody writing it down. What a unit waits for ends with it.
func (s *Shop) Ship(typed string, w Who, b events.Shipped) (Saved, error) {
	return s.Record(typed, w, b)
}

// visitToEnd is the visit that a shipping on a day ends. One that was ended
// already is corrected, not ended again.
func visitToEnd(h *projections.History, at events.When) (events.VisitID, error) {
	for i := len(h.Visits) - 1; i >= 0; i-- {
		v := &h.Visits[i]
		from := dayOf(v.Received, events.EventID(v.ID))
		until := events.Day(1 << 30)
		if i+1 < len(h.Visits) {
			until = dayOf(h.Visits[i+1].Received, events.EventID(h.Visits[i+1].ID))
		}
		if v.End != projections.Ended && from <= at.Day && at.Day <= until {
			return v.ID, nil
		}
	}
	if v := h.OpenVisit(); v != nil {
		return events.VisitID{}, &NotHere{unitName(h), fmt.Sprintf("came in on %s, after %s", v.Received.Day, at.Day)}
	}
	return events.VisitID{}, &NotHere{unitName(h), "is not on a bench, so it can't be shipped; an end that was written wrong is corrected"}
}

// Wait begins a wait, and Resume ends what the unit waits for.
func (s *Shop) Wait(typed string, w Who, b events.WaitingBegun) (Saved, error) {
	return s.record(typed, w, func(_ *eventlog.Tx, h *projections.History) ([]events.Body, error) {
		if v := h.OpenVisit(); v != nil && WaitOf(v) == b.For {
			return nil, &NotHere{unitName(h), "waits for " + b.For + " already"}
		}
		return []events.Body{b}, nil
	})
}

// Resume ends every wait of the unit.
func (s *Shop) Resume(typed string, w Who, text string) (Saved, error) {
	return s.record(typed, w, func(_ *eventlog.Tx, h *projections.History) ([]events.Body, error) {
		v := h.OpenVisit()
		if v == nil || WaitOf(v) == "" {
			return nil, &NotHere{unitName(h), "waits for nothing"}
		}
		if begun := lastWait(v); w.At.Precision != events.Unknown && begun > w.At.Day {
			return nil, &NotHere{unitName(h), fmt.Sprintf("waits since %s, after %s", begun, w.At.Day)}
		}
		return []events.Body{events.WaitingEnded{Text: text}}, nil
	})
}

// lastWait is the day on which the last wait began.
func lastWait(v *projections.Visit) (day events.Day) {
	for _, e := range v.Entries {
		if e.Kind == events.KindWaitingBegun {
			day = max(day, dayOf(e.At, e.ID))
		}
	}
	return day
}

// WaitOf is what a visit waits for now, the latest if there are several; empty
// while it is worked on.
func WaitOf(v *projections.Visit) string {
	var waits []string
	for _, e := range v.Entries {
		switch b := e.Decode().(type) {
		case events.WaitingBegun:
			waits = append(waits, b.For)
		case events.WaitingEnded:
			waits = ended(waits, b.For)
		}
	}
	if len(waits) == 0 {
		return ""
	}
	return waits[len(waits)-1]
}

func ended(waits []string, what string) []string {
	if what == "" {
		return nil
	}
	var left []string
	for _, w := range waits {
		if w != what {
			left = append(left, w)
		}
	}
	return left
}

// daysBetween counts calendar days, at least none.
func daysBetween(from, to events.Day) int { return max(0, int(to-from)) }

func (s *Shop) today() events.Day { return events.DayOf(s.now()) }

// view runs fn on the log as last committed.
func (s *Shop) view(fn func(v *eventlog.View) error) error {
	return s.viewKeys(func(v *eventlog.View) error {
		if s.veiled {
			return fn(v.Blind())
		}
		return fn(v)
	})
}

// viewKeys is view, with the keyring for a veiled shop too: nothing that fn reads
// there may be shown.
func (s *Shop) viewKeys(fn func(v *eventlog.View) error) error {
	v, err := s.Log.View()
	if err != nil {
		return err
	}
	defer v.Close()
	return fn(v)
}

// ParseAt reads the --at of a command.
func ParseAt(text string) (events.When, error) {
	if text == "" {
		return events.When{}, nil
	}
	w, err := events.ParseWhen(text, time.Local)
	if err != nil {
		return w, &Wrong{"--at", err.Error()}
	}
	return w, nil
}
