package events_test

import (
	"testing"

	"oldhand/events"
)

// A key opens something of a person where one of the person's own records opens with
// it: other kinds, other people's records and other keys say nothing (P15).
func TestP15_AKeyOpensOnlyItsOwnPersonsRecords(t *testing.T) {
	recorded := func(of events.PersonID, body events.Body) events.Event {
		env, raw, err := events.Draft{About: events.UnitID(of), Body: body}.Make(events.EventID{1})
		if err != nil {
			t.Fatal(err)
		}
		return must(events.Link(events.Head{Feed: feed, Seq: 1}, must(events.EncodeRecord(env, raw))))
	}
	own := recorded(person, sealedCustomer())
	others := recorded(events.PersonID{9}, sealedCustomer())
	note := recorded(person, events.Note{Text: "hums"})
	entry := events.KeyEntry{Person: person, Key: personKey}
	for name, c := range map[string]struct {
		entry events.KeyEntry
		in    []events.Event
		want  bool
	}{
		"its own record":                 {entry, []events.Event{own}, true},
		"behind what is not its own":     {entry, []events.Event{note, others, own}, true},
		"nothing recorded":               {entry, nil, false},
		"another person's record":        {entry, []events.Event{others}, false},
		"a note about the same id":       {entry, []events.Event{note}, false},
		"another key":                    {events.KeyEntry{Person: person, Key: events.PersonKey{1}}, []events.Event{own}, false},
		"another person with the key":    {events.KeyEntry{Person: events.PersonID{9}, Key: personKey}, []events.Event{own, others}, false},
		"an order to forget, and no key": {events.KeyEntry{Person: person, Order: events.ForgetOrder{1}}, []events.Event{own}, false},
	} {
		if got := c.entry.Opens(c.in); got != c.want {
			t.Errorf("%s: opens %v, want %v", name, got, c.want)
		}
	}
	if !(events.KeyEntry{Person: person}).IsNothing() || entry.IsNothing() || entry.Forgotten() || !(events.KeyEntry{Order: events.ForgetOrder{1}}).Forgotten() {
		t.Error("what an entry says of itself is wrong")
	}
}
