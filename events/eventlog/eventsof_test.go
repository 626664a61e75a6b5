package eventlog_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// manyUnits saves notes of so many units, interleaved, and gives the units.
func manyUnits(t *testing.T, l *eventlog.Log, n, notes int) (units [][16]byte) {
	t.Helper()
	for i := range n {
		units = append(units, [16]byte{1, byte(i), byte(i >> 8), byte(i * 7)})
	}
	for k := range notes {
		err := l.Append(bg, func(tx *eventlog.Tx) error {
			for _, u := range units {
				if _, err := tx.Add(eventstest.Note(events.UnitID(u), fmt.Sprintf("note %d", k))); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return units
}

// The events of many subjects, read side by side, are those that each has alone, and of
// one that is unknown there are none.
func TestEventsOfManySubjectsAreThoseOfEach(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 170)
	units := append(manyUnits(t, l, 300, 3), [16]byte{9})
	if err := l.Append(bg, func(tx *eventlog.Tx) error {
		together, err := tx.EventsOf(units)
		if err != nil || len(together) != len(units) {
			return fmt.Errorf("%d of %d units: %w", len(together), len(units), err)
		}
		for i, u := range units {
			alone, err := tx.Events(u)
			if err != nil {
				return err
			}
			same := func(a, b events.Event) bool { return a.Hash == b.Hash && string(a.Record) == string(b.Record) }
			if !slices.EqualFunc(together[i], alone, same) {
				return fmt.Errorf("unit %d: %d events together, %d alone", i, len(together[i]), len(alone))
			}
			if want := 3; i < 300 && len(alone) != want {
				return fmt.Errorf("unit %d has %d events", i, len(alone))
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// One event that is not what was written refuses them all.
func TestEventsOfManySubjectsAreRefusedWithOneThatIsDamaged_P10(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 171)
	units := manyUnits(t, l, 200, 1)
	spoil(t, l, 150, -1)
	err := l.Append(bg, func(tx *eventlog.Tx) error {
		_, err := tx.EventsOf(units)
		return err
	})
	if !errors.Is(err, eventlog.ErrDamaged) {
		t.Errorf("got %v", err)
	}
}

// What the keyring has of many persons, read together, is what it has of each: on the
// disk, changed in this action, forgotten, or nothing.
func TestPersonsTogetherAreThoseOfEach(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 172)
	person := func(i int) events.PersonID { return events.PersonID{byte(i * 37), byte(i)} }
	keep := func(tx *eventlog.Tx, from, to int) (err error) {
		for i := from; i < to; i++ {
			err = errors.Join(err, tx.PutPersonKey(person(i), events.PersonKey{byte(i), 1}))
		}
		return err
	}
	if err := l.Append(bg, func(tx *eventlog.Tx) error {
		order := events.KeyEntry{Person: person(7), Order: events.ForgetOrder{1}}
		return errors.Join(keep(tx, 0, 20), tx.KeepPerson(order))
	}); err != nil {
		t.Fatal(err)
	}
	if err := l.Append(bg, func(tx *eventlog.Tx) error {
		if err := errors.Join(keep(tx, 20, 30), tx.KeepPerson(events.KeyEntry{Person: person(3), Order: events.ForgetOrder{2}})); err != nil {
			return err
		}
		var of []events.PersonID
		for i := range 40 {
			of = append(of, person(i))
		}
		together, err := tx.Persons(of)
		if err != nil || len(together) != len(of) {
			return fmt.Errorf("%d of %d persons: %w", len(together), len(of), err)
		}
		nothing, forgotten := 0, 0
		for i, p := range of {
			alone, err := tx.Person(p)
			if err != nil || together[p] != alone {
				return fmt.Errorf("person %d: %v together, %v alone: %w", i, together[p], alone, err)
			}
			nothing += map[bool]int{true: 1}[alone.IsNothing()]
			forgotten += map[bool]int{true: 1}[alone.Forgotten()]
		}
		if nothing != 10 || forgotten != 2 {
			return fmt.Errorf("of %d there is nothing, %d are forgotten", nothing, forgotten)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// One that is not what was written refuses them all; of nobody there is nothing to say.
func TestPersonsTogetherAreRefusedWithOneThatIsDamaged_P10(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 173)
	of := []events.PersonID{{3}, {1}, {2}}
	together := func(of []events.PersonID) (n int, err error) {
		err = l.Append(bg, func(tx *eventlog.Tx) error {
			here, err := tx.Persons(of)
			n = len(here)
			return err
		})
		return n, err
	}
	if err := l.Append(bg, func(tx *eventlog.Tx) error { return tx.PutPersonKey(of[0], events.PersonKey{1}) }); err != nil {
		t.Fatal(err)
	}
	if n, err := together(nil); n != 0 || err != nil {
		t.Errorf("of nobody: %d, %v", n, err)
	}
	k, v := l.FindRaw(t, 'k')
	if err := l.SetRaw(k, v[1:]); err != nil {
		t.Fatal(err)
	}
	if n, err := together(of); n != 0 || !errors.Is(err, eventlog.ErrDamaged) {
		t.Errorf("%d, %v", n, err)
	}
}
