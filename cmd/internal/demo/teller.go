package demo

import (
	"fmt"
	"slices"

	"oldhand/events"
)

// teller is a story being told: what is due, who is known, and the action that
// is being written.
type teller struct {
	story     *Story
	dice      dice
	queue     queue
	benches   []*bench
	customers customers
	serials   serials
	sheets    map[string]taken // by kind of set; none before the shop took them
	made      int              // units so far, without those of the sights
	arrivals  *arrivals

	action Action
	room   []events.Event // where actions grow, so that each is given out at its size
	entry  entry          // of the action
	err    error
}

func newTeller(s *Story) (*teller, error) {
	t := &teller{story: s, dice: newDice(s.opt.Seed, storyStream), sheets: map[string]taken{}}
	for i, room := range rooms {
		b, err := newBench(s.benches[i].Key, room.name, uint32(i+1), room.people)
		if err != nil {
			return nil, err
		}
		t.benches = append(t.benches, b)
	}
	staged := t.stageAll()
	t.serials = newSerials(s.opt.Units, t.dice)
	t.arrivals = newArrivals(s.opt.Units - staged)
	t.queue.ask(on(firstDay, 8*3600), founding{})
	t.queue.ask(on(sheetsTaken, 8*3600), taking{})
	t.queue.ask(t.nextArrival(0), arrival{})
	return t, nil
}

// tell gives one action after the other until the last day is over. It reports
// whether it came to the end.
func (t *teller) tell(yield func(Action, error) bool) bool {
	end := on(lastDay+1, 0)
	for {
		d, ok := t.queue.next()
		if !ok || d.at >= end {
			return true
		}
		t.action = Action{Events: t.room[:0]}
		d.who.act(t, d.at)
		if t.err != nil {
			yield(Action{}, fmt.Errorf("demo at %s: %w", d.at.wall(), t.err))
			return false
		}
		t.room = t.action.Events
		t.action.Events = slices.Clone(t.room)
		if len(t.room) > 0 && !yield(t.action, nil) {
			return false
		}
	}
}

// fail keeps the first error; nothing is written after it.
func (t *teller) fail(err error) {
	if t.err == nil {
		t.err = err
	}
}

// signedHeads are the heads of all feeds.
func (t *teller) signedHeads() (signed []events.SignedHead, err error) {
	for _, b := range t.benches {
		heads := b.heads
		if b.head.Seq > 0 {
			heads = append(heads[:len(heads):len(heads)], b.head)
		}
		for _, h := range heads {
			s, err := b.Key.SignHead(t.story.shop, h)
			if err != nil {
				return nil, err
			}
			signed = append(signed, s)
		}
	}
	return signed, nil
}

// entry is one person at one bench writing one action.
type entry struct {
	teller *teller
	action *Action
	bench  *bench
	at     moment      // when it is recorded
	when   events.When // when it happened
	who    string

	unit  events.UnitID // what is spoken of
	visit events.VisitID
}

// open begins an action at a bench.
func (t *teller) open(b *bench, at moment) *entry {
	when := at.wall()
	t.entry = entry{teller: t, action: &t.action, bench: b, at: at, when: when, who: b.by(t.dice, when.Day)}
	e := &t.entry
	if b.ahead != 0 || t.dice.chance(150) {
		e.when = events.OnDay(e.when.Day) // somebody typed the day
	}
	return e
}

// add writes an event and gives its id.
func (e *entry) add(d events.Draft) events.EventID {
	if e.teller.err != nil {
		return events.EventID{}
	}
	d.At, d.By = e.when, e.who
	ev, err := e.bench.write(e.teller, e.at, d)
	if err != nil {
		e.teller.fail(err)
		return events.EventID{}
	}
	e.action.Events = append(e.action.Events, ev)
	return ev.ID
}

// say writes an event about the unit and the visit that are spoken of.
func (e *entry) say(b events.Body) events.EventID {
	return e.add(events.Draft{About: e.unit, Visit: e.visit, Body: b})
}
