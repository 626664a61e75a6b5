package eventlog_test

import (
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// A person's key that was dropped is in no file of the folder once it was
// scoured and opened again, wherever in the store it had come to lie: in the
// write-ahead log, in a young table or in an old one.
func TestP15_ADroppedKeyIsNowhereOnTheDisk(t *testing.T) {
	for name, settle := range map[string]func(*eventlog.Log) error{
		"in the write-ahead log": func(*eventlog.Log) error { return nil },
		"in a young table":       func(l *eventlog.Log) error { return l.Flush() },
		"in an old table":        func(l *eventlog.Log) error { return errors.Join(l.Flush(), l.Compact(t)) },
	} {
		t.Run(name, func(t *testing.T) {
			l, b, folder := eventstest.InTemp(t, 121)
			id, other := events.PersonID{1, 2, 3}, events.PersonID{7}
			key, kept := events.PersonKey([]byte("a key that has to be gone, wholly")), events.PersonKey([]byte("a key of another person, that is kept"))
			savePerson(t, l, other, kept)
			savePerson(t, l, id, key)
			eventstest.SaveNotes(t, l, unit, "work", 40)
			if err := settle(l); err != nil {
				t.Fatal(err)
			}
			wantCanary(t, folder, string(key[:]), true)
			order := events.ForgetOrder{1}
			err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
				return tx.KeepPerson(events.KeyEntry{Person: id, Order: order})
			})
			if err != nil {
				t.Fatal(err)
			}
			if err := l.Scour(t.Context()); err != nil {
				t.Fatal(err)
			}
			closeLog(t, l)
			l = eventstest.Open(t, b.InFolder(folder))
			wantCanary(t, folder, string(key[:]), false)
			wantCanary(t, folder, string(kept[:]), true)
			v, err := l.View()
			if err != nil {
				t.Fatal(err)
			}
			defer v.Close()
			if e, err := v.Person(id); err != nil || e.Order != order {
				t.Errorf("the keyring has %+v (%v), want the order", e, err)
			}
			if k, err := v.PersonKey(other); err != nil || k != kept {
				t.Errorf("the other's key is %x (%v)", k, err)
			}
			if _, err := v.Scrub(nil); err != nil {
				t.Error(err)
			}
		})
	}
}

// Scouring that was cut short, or never begun, is done at the next call.
func TestP15_WhatIsToBeScouredIsRemembered(t *testing.T) {
	l, b, folder := eventstest.InTemp(t, 122)
	id, key := events.PersonID{1}, events.PersonKey([]byte("a key that has to be gone, wholly"))
	savePerson(t, l, id, key)
	if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
		return tx.KeepPerson(events.KeyEntry{Person: id, Order: events.ForgetOrder{1}})
	})
	if err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	l = eventstest.Open(t, b.InFolder(folder))
	wantCanary(t, folder, string(key[:]), true)
	for range 2 {
		if err := l.Scour(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	closeLog(t, l)
	eventstest.Open(t, b.InFolder(folder))
	wantCanary(t, folder, string(key[:]), false)
}
