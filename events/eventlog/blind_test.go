package eventlog_test

import (
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// Through a blind view no key is had by any way, and all else is as it is.
func TestABlindViewGivesNoKey_P15(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 122)
	id, key := events.PersonID{1, 2, 3}, events.PersonKey{4, 5, 6}
	savePerson(t, l, id, key)
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	count := func(v *eventlog.View) (n int) {
		if _, err := v.PersonKey(id); err == nil {
			n++
		}
		if e, err := v.Person(id); err != nil || !e.IsNothing() {
			n++
		}
		if err := v.Persons(func(events.KeyEntry) (bool, error) { n++; return true, nil }); err != nil {
			t.Error(err)
		}
		if err := v.PersonKeys(func(events.PersonID, events.PersonKey) error { n++; return nil }); err != nil {
			t.Error(err)
		}
		return n
	}
	if n := count(v); n != 4 {
		t.Errorf("the view gives the key in %d ways of 4", n)
	}
	if n := count(v.Blind()); n != 0 {
		t.Errorf("the blind view gives the key in %d ways", n)
	}
	if evs, err := v.Blind().Events(id); err != nil || len(evs) != 1 {
		t.Errorf("%d events about the person (%v)", len(evs), err)
	}
}
