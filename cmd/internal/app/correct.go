package app

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Correct replaces a fact of a unit by one with some fields changed. The entry
// is named by its event's id or the end of it; the fields by name, with "at"
// and "by" for when it happened and who recorded it.
func (s *Shop) Correct(typed, entry string, assignments []string, why string, w Who) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		h, e, err := entryOf(tx, typed, entry)
		if err != nil {
			return err
		}
		fact, err := corrected(h, e, assignments)
		if err != nil {
			return err
		}
		if err := s.mayStand(tx, h, e, fact); err != nil {
			return err
		}
		saved = savedOf(h)
		return saved.add(tx, events.Draft{About: e.About, At: s.when(w), By: w.By,
			Body: events.Corrected{Replaces: seenOf(h, e), Fact: fact, Why: why}})
	})
	return saved, err
}

// seenOf are the ids that a correction names: the version it replaces, and
// where versions are in conflict all of them, since all are in sight.
func seenOf(h *projections.History, e projections.Entry) []events.EventID {
	for _, c := range h.Conflicts {
		if c.Fact == e.ID {
			return c.Versions
		}
	}
	return []events.EventID{e.Shown}
}

// cantCorrect says why an entry whose body can't be read can't be corrected here.
func cantCorrect(e projections.Entry) error {
	if _, err := events.DecodeBody(e.Kind, e.Version, e.Body); errors.Is(err, events.ErrUnread) {
		return &Wrong{e.ID.String(), "was made by a newer version and can't be corrected here"}
	}
	return &Wrong{e.ID.String(), "is not what its kind should be, so that nothing of it can be corrected; take it back instead"}
}

func corrected(h *projections.History, e projections.Entry, assignments []string) (f events.Fact, err error) {
	f = events.Fact{Kind: e.Kind, Version: e.Version, At: e.At, By: e.By, Visit: e.Visit}
	body := e.Decode()
	if body == nil {
		return f, cantCorrect(e)
	}
	var fields []string
	for _, a := range assignments {
		switch name, value, _ := strings.Cut(a, "="); name {
		case "at":
			if f.At, err = ParseAt(value); err != nil {
				return f, err
			}
		case "by":
			f.By = value
		default:
			fields = append(fields, a)
		}
	}
	if body, err = set(body, fields); err != nil {
		return f, err
	}
	if body, err = reread(body); err != nil {
		return f, err
	}
	if err := body.Validate(); err != nil {
		return f, err
	}
	if err := inOrder(h, e, f.At); err != nil {
		return f, err
	}
	f.Body, err = events.EncodeBody(body)
	return f, err
}

// inOrder refuses a day that would have a unit leave before it came in.
func inOrder(h *projections.History, e projections.Entry, at events.When) error {
	if at.Precision == events.Unknown {
		return nil
	}
	for _, v := range h.Visits {
		from := dayOf(v.Received, events.EventID(v.ID))
		switch {
		case e.Kind == events.KindShipped && slices.ContainsFunc(v.Entries, func(o projections.Entry) bool { return o.ID == e.ID }) && at.Day < from:
			return &Wrong{"at", fmt.Sprintf("it came in on %s, after %s", from, at.Day)}
		case e.Kind == events.KindReceived && v.Entries[0].ID == e.ID && v.End == projections.Ended && v.Shipped.Precision != events.Unknown && at.Day > v.Shipped.Day:
			return &Wrong{"at", fmt.Sprintf("it was shipped on %s, before %s", v.Shipped.Day, at.Day)}
		}
	}
	return nil
}

// reread reads the values of a body's texts again, which may have changed.
func reread(b events.Body) (events.Body, error) {
	switch b := b.(type) {
	case events.PartReplaced:
		b.In, _ = Marking(b.In.Text, Letters(b.Designator))
		b.Out, _ = Marking(b.Out.Text, Letters(b.Designator))
		return b, nil
	case events.ReadingTaken:
		b, _, err := Reading(b)
		return b, err
	}
	return b, nil
}

// Withdraw takes a fact of a unit back.
func (s *Shop) Withdraw(typed, entry, why string, w Who) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		h, e, err := entryOf(tx, typed, entry)
		if err != nil {
			return err
		}
		if err := holdsNothing(h, e); err != nil {
			return err
		}
		evs, err := tx.Events(e.About)
		if err != nil {
			return err
		}
		saved = savedOf(h)
		return saved.add(tx, events.Draft{About: e.About, At: s.when(w), By: w.By,
			Body: events.Withdrawn{Withdraws: projections.Versions(evs, e.ID), Why: why}})
	})
	return saved, err
}

// holdsNothing refuses to take back an intake whose visit holds other entries:
// they would belong to no visit then.
func holdsNothing(h *projections.History, e projections.Entry) error {
	if e.Kind != events.KindReceived {
		return nil
	}
	for _, v := range h.Visits {
		if v.Entries[0].ID != e.ID {
			continue
		}
		others := 0
		for _, o := range v.Entries[1:] {
			if o.Kind != events.KindRowImported {
				others++
			}
		}
		if others > 0 {
			return &NotHere{unitName(h), fmt.Sprintf("has %s in the visit that this intake begins; withdraw them first, or correct the intake", events.Count(others, "other entry", "other entries"))}
		}
	}
	return nil
}

// Restore takes a withdrawal back: the entry stands again.
func (s *Shop) Restore(typed, entry, why string, w Who) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		h, err := Resolve(tx, typed)
		if err != nil {
			return err
		}
		e, err := named(h, entry, h.Withdrawn)
		if err != nil {
			return err
		}
		if err := s.mayStand(tx, h, e, events.Fact{Kind: e.Kind, Version: e.Version, At: e.At, Visit: e.Visit, Body: e.Body}); err != nil {
			return err
		}
		evs, err := tx.Events(e.About)
		if err != nil {
			return err
		}
		saved = savedOf(h)
		return saved.add(tx, events.Draft{About: e.About, At: s.when(w), By: w.By,
			Body: events.Withdrawn{Withdraws: withdrawalsOf(evs, e.ID), Why: why}})
	})
	return saved, err
}

// withdrawalsOf are the events that took a fact back.
func withdrawalsOf(evs []events.Event, fact events.EventID) (ids []events.EventID) {
	for _, e := range evs {
		b, err := e.Body()
		if w, ok := b.(events.Withdrawn); err == nil && ok && slices.Contains(w.Withdraws, fact) {
			ids = append(ids, e.ID)
		}
	}
	return ids
}

// entryOf finds one entry of a unit's history by the end of its id.
func entryOf(tx *eventlog.Tx, typed, entry string) (*projections.History, projections.Entry, error) {
	h, err := Resolve(tx, typed)
	if err != nil {
		return nil, projections.Entry{}, err
	}
	e, err := named(h, entry, entriesOf(h))
	return h, e, err
}

// shortestEntry is how much of an entry's id has to be typed at least.
const shortestEntry = 4

// named is the one entry whose id ends as typed.
func named(h *projections.History, entry string, among []projections.Entry) (projections.Entry, error) {
	var found []projections.Entry
	want := strings.ToUpper(strings.TrimSpace(entry))
	for _, e := range among {
		if len(want) >= shortestEntry && (strings.HasSuffix(e.ID.String(), want) || strings.HasSuffix(e.Shown.String(), want)) {
			found = append(found, e)
		}
	}
	if len(found) == 1 {
		return found[0], nil
	}
	how := "no entry"
	if len(found) > 1 {
		how = fmt.Sprintf("%d entries", len(found))
	}
	return projections.Entry{}, &Wrong{"entry " + entry, fmt.Sprintf("%s of %s ends so; see the ids with: oldhand past %s --ids", how, unitName(h), unitName(h))}
}

func entriesOf(h *projections.History) []projections.Entry {
	all := append([]projections.Entry(nil), h.Loose...)
	all = append(all, h.Joins...)
	for _, v := range h.Visits {
		all = append(all, v.Entries...)
	}
	return all
}

func resolveTwo(r projections.Reader, a, b string) (ha, hb *projections.History, err error) {
	if ha, err = Resolve(r, a); err != nil {
		return nil, nil, err
	}
	hb, err = Resolve(r, b)
	return ha, hb, err
}

// Same says that two units are one physical set.
func (s *Shop) Same(a, b, why string, w Who) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		ha, hb, err := resolveTwo(tx, a, b)
		if err != nil {
			return err
		}
		if ha.Root == hb.Root {
			return &Wrong{a + " and " + b, "are one unit already"}
		}
		saved = savedOf(ha)
		err = saved.add(tx, events.Draft{About: memberOf(ha, a), At: s.when(w), By: w.By,
			Body: events.SameUnit{Other: memberOf(hb, b), Why: why}})
		saved.say("the same unit as " + unitName(hb))
		return err
	})
	return saved, err
}

// Apart says that two ids that were joined, or are offered as likely the same,
// are not one set. It undoes the joins that hold the second to the first.
func (s *Shop) Apart(a, b, why string, w Who) (saved Saved, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		ha, hb, err := resolveTwo(tx, a, b)
		if err != nil {
			return err
		}
		ma, mb := memberOf(ha, a), memberOf(hb, b)
		if ma == mb {
			return &Wrong{a + " and " + b, "name the same entry of one unit; name each by the tag it was given"}
		}
		saved = savedOf(ha)
		err = saved.add(tx, events.Draft{About: ma, At: s.when(w), By: w.By,
			Body: events.NotSameUnit{Other: mb, Undoes: joinsBetween(ha, ma, mb), Why: why}})
		saved.say("not the same unit as " + strings.TrimSpace(b))
		return err
	})
	return saved, err
}

// memberOf is the id of a joined unit that was given the tag, or claimed the
// serial, that was typed; else the id all of it goes by.
func memberOf(h *projections.History, typed string) events.UnitID {
	key := events.Key(typed)
	member := h.Root
	for _, v := range h.Visits {
		for _, e := range v.Entries {
			b, ok := e.Decode().(events.Received)
			if ok && key != "" && (events.Key(b.Tag) == key || e.About.String() == strings.ToUpper(typed)) {
				return e.About
			}
			if ok && key != "" && member == h.Root && events.Key(b.Serial) == key {
				member = e.About
			}
		}
	}
	return member
}

// joinsBetween are the joins to undo so that b no longer hangs together with
// a: those of b with anything that hangs together with a without b.
func joinsBetween(h *projections.History, a, b events.UnitID) []events.EventID {
	reached := map[events.UnitID]bool{a: true}
	for grown := true; grown; {
		grown = false
		for _, e := range h.Joins {
			j, ok := e.Decode().(events.SameUnit)
			if !ok || e.About == b || j.Other == b || reached[e.About] == reached[j.Other] {
				continue
			}
			reached[e.About], reached[j.Other], grown = true, true, true
		}
	}
	var undo []events.EventID
	for _, e := range h.Joins {
		if j, ok := e.Decode().(events.SameUnit); ok && (e.About == b && reached[j.Other] || j.Other == b && reached[e.About]) {
			undo = append(undo, e.Shown)
		}
	}
	return undo
}
