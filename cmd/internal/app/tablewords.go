package app

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/trade"
	"oldhand/projections"
)

// Words of the trade's tables, as a hand types them. One that no table has is
// refused with those near it: saved as it is, it would be a row of its own in
// every answer. The shop adds a word by saying so.

// Word is one row of a table, for a list.
type Word struct {
	Table string `json:"table"`
	ID    string `json:"id"`
	Name  string `json:"name"`
}

// Words lists the tables: the trade's rows and the shop's own.
func (s *Shop) Words() (list []Word, err error) {
	err = s.view(func(v *eventlog.View) error {
		list, err = wordsOf(v)
		return err
	})
	return list, err
}

func wordsOf(r projections.Reader) ([]Word, error) {
	var list []Word
	add := func(table, id, name string) { list = append(list, Word{table, id, name}) }
	for _, t := range trade.Classes {
		add("component", t.ID, t.Name)
	}
	for _, t := range trade.Modes {
		add("failure mode", t.ID, t.Name)
	}
	for _, t := range trade.Works {
		add("work", t.ID, t.Name)
	}
	for _, t := range trade.Sets {
		add("kind of set", t.ID, t.Name)
	}
	for _, t := range trade.Outcomes {
		add("outcome", t.ID, t.Name)
	}
	added, err := shopFacts[events.TermAdded](r)
	for _, t := range added {
		add(t.Table, t.ID, t.Name)
	}
	return list, err
}

// offeredWords are the tables' words as forms offer them. The shop's own stand
// among all that is said of the shop, one begun feed a day and bench for a start:
// reading them for each form would be slower the older the shop is. So they are
// kept for a while; what is typed is looked up afresh when it is saved.
type offeredWords struct {
	mu   sync.Mutex
	read time.Time // zero for never
	list []Word
}

const offeredFor = time.Minute

func (o *offeredWords) of(r projections.Reader, now time.Time) ([]Word, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.read.IsZero() && now.Sub(o.read) < offeredFor {
		return o.list, nil
	}
	list, err := wordsOf(r)
	if err == nil {
		o.list, o.read = list, now
	}
	return list, err
}

func (o *offeredWords) forget() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.read = time.Time{}
}

// AddWord adds a row to a table.
func (s *Shop) AddWord(table, name string, w Who) (saved Saved, err error) {
	b := events.TermAdded{Table: table, ID: slug(name), Name: name}
	err = s.act(func(tx *eventlog.Tx) error {
		saved = Saved{}
		return saved.add(tx, events.Draft{At: s.when(w), By: w.By, Body: b})
	})
	s.words.forget()
	return saved, err
}

// knownWords puts the words of bodies into the tables' own form, or refuses
// one that is in none.
func knownWords(r projections.Reader, bodies []events.Body) ([]events.Body, error) {
	known := slices.Clone(bodies)
	for i, b := range known {
		fields := wordFields(&b)
		for table, field := range fields {
			if *field == "" {
				continue
			}
			id, err := knownWord(r, table, *field)
			if err != nil {
				return nil, err
			}
			*field = id
		}
		known[i] = unpointed(b, bodies[i])
	}
	return known, nil
}

// wordFields are the fields of a body that hold words of a table; the body is
// replaced by a pointer to a copy that they are of.
func wordFields(b *events.Body) map[string]*string {
	switch x := (*b).(type) {
	case events.FaultFound:
		*b = &x
		return map[string]*string{"component": &x.Component, "failure mode": &x.Mode}
	case events.PartReplaced:
		*b = &x
		return map[string]*string{"component": &x.Component}
	case events.WorkDone:
		*b = &x
		return map[string]*string{"work": &x.Work, "component": &x.Component}
	case events.Shipped:
		*b = &x
		return map[string]*string{"outcome": &x.Outcome}
	case events.Identified:
		*b = &x
		return map[string]*string{"kind of set": &x.KindOfSet}
	case events.Received:
		*b = &x
		return map[string]*string{"kind of set": &x.KindOfSet}
	}
	return nil
}

// unpointed gives the body itself again.
func unpointed(b, was events.Body) events.Body {
	switch x := b.(type) {
	case *events.FaultFound:
		return *x
	case *events.PartReplaced:
		return *x
	case *events.WorkDone:
		return *x
	case *events.Shipped:
		return *x
	case *events.Identified:
		return *x
	case *events.Received:
		return *x
	}
	return was
}

func knownWord(r projections.Reader, table, typed string) (string, error) {
	id := slug(typed)
	if isTradeWord(table, id) {
		return id, nil
	}
	words, err := wordsOf(r)
	if err != nil {
		return "", err
	}
	var near []string
	for _, w := range words {
		if w.Table != table {
			continue
		}
		if w.ID == id || strings.EqualFold(w.Name, typed) {
			return w.ID, nil
		}
		if projections.Near(w.ID, id) || strings.Contains(w.ID, id) {
			near = append(near, w.ID)
		}
	}
	why := fmt.Sprintf("is not in the table; see it with: oldhand words, or add it with: oldhand word %q %q", table, typed)
	if len(near) > 0 {
		why = "is not in the table; perhaps " + strings.Join(near[:min(len(near), 5)], ", ") + "? Else add it with: " + fmt.Sprintf("oldhand word %q %q", table, typed)
	}
	return "", &Wrong{table + " " + typed, why}
}

// isTradeWord answers for the usual words without reading the shop's own.
func isTradeWord(table, id string) (ok bool) {
	switch table {
	case "component":
		_, ok = trade.ClassOf(id)
	case "failure mode":
		_, ok = trade.ModeOf(id)
	case "work":
		_, ok = trade.WorkOf(id)
	case "kind of set":
		_, ok = trade.SetOf(id)
	case "outcome":
		_, ok = trade.OutcomeOf(id)
	}
	return ok
}
