package oddshop

import (
	"errors"

	"oldhand/events"
	"oldhand/events/hlc"
)

// feed is what the odd bench wrote: a run of events that link.
type feed struct {
	*maker
	shop  events.ShopID
	head  events.Head
	began uint64 // ms
	all   []events.Event
}

// id is the next id: they rise by a millisecond.
func (f *feed) id() events.EventID {
	var random [8]byte
	for i := range random {
		random[i] = byte(f.rng.Uint32())
	}
	return events.NewEventID(hlc.Join(f.began+uint64(len(f.all)), 0), random)
}

// write adds an event of a body's bytes; about nothing it begins a unit of its own.
func (f *feed) write(row events.KindRow, about [16]byte, body events.RawBody) (events.Event, error) {
	env := events.Envelope{ID: f.id(), Kind: row.Kind, Version: 1, About: about, At: f.when(), By: f.text("")}
	if row.Subject == events.OfUnit {
		env.Visit = f.visit
	}
	for len(env.By) > events.MaxWord {
		env.By = f.text("")
	}
	if about == [16]byte{} && row.Subject == events.OfUnit {
		env.About = env.ID
	}
	rec, err := events.EncodeRecord(env, body)
	if err != nil {
		return events.Event{}, err
	}
	e, err := events.Link(f.head, rec)
	if err != nil {
		return e, err
	}
	f.all, f.head = append(f.all, e), e.Head()
	if row.Subject == events.OfUnit && !row.Kind.Joins() {
		f.said = append(f.said, e.ID)
	}
	return e, nil
}

// say writes an odd body of a kind. One that is too large for a record is drawn anew.
func (f *feed) say(row events.KindRow, about [16]byte) (e events.Event, err error) {
	err = events.ErrTooLarge
	for errors.Is(err, events.ErrTooLarge) {
		var b events.Body
		if b, err = f.body(row); err != nil {
			return e, err
		}
		if begun, ok := b.(events.FeedBegun); ok {
			begun.Shop = f.shop // of another shop no feed is taken
			b = begun
		}
		var raw events.RawBody
		if raw, err = events.EncodeBody(b); err != nil {
			return e, err
		}
		e, err = f.write(row, about, raw)
	}
	return e, err
}

// tell writes the whole feed: its beginning; units with a fact of every kind of fact each;
// facts about the honest bench's units; and of each other kind a few.
func (f *feed) tell(honest []events.UnitID, units int) error {
	begun, _ := events.FindKind(events.KindFeedBegun)
	received, _ := events.FindKind(events.KindReceived)
	if _, err := f.say(begun, [16]byte{}); err != nil {
		return err
	}
	f.units = append(f.units, honest...)
	for n := range units {
		e, err := f.say(received, [16]byte{})
		if err != nil {
			return err
		}
		f.units, f.visit = append(f.units, e.Unit()), events.VisitID(e.ID)
		if err := f.facts(e.Unit(), n%6 == 5); err != nil {
			return err
		}
	}
	for _, u := range honest {
		f.visit = events.VisitID(u)
		if err := f.facts(u, false); err != nil {
			return err
		}
	}
	return f.rest()
}

// facts says of a unit one thing of each kind; joined with another it is only at times,
// since else all would be one unit.
func (f *feed) facts(unit events.UnitID, joined bool) error {
	for _, i := range f.rng.Perm(len(events.Kinds)) {
		row := events.Kinds[i]
		if row.Subject != events.OfUnit || row.Kind.Joins() && !joined {
			continue
		}
		if _, err := f.say(row, unit); err != nil {
			return err
		}
	}
	return nil
}

// rest says what is about no unit, and of each kind what does not read.
func (f *feed) rest() error {
	for _, row := range events.Kinds {
		if row.Kind == events.KindFeedBegun {
			continue
		}
		var about [16]byte
		if row.Subject == events.OfUnit {
			about = f.units[0]
		}
		if _, err := f.write(row, about, unreadable()); err != nil {
			return err
		}
		for range 6 {
			if row.Subject == events.OfPerson {
				about = oneOf(f.maker, f.persons...)
			}
			if row.Subject == events.OfUnit {
				break
			}
			if _, err := f.say(row, about); err != nil {
				return err
			}
		}
	}
	return nil
}
