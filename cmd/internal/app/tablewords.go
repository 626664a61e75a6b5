package app

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/trade"
	"oldhand/projections"
)

// Words of the trade's tables, as a hand types them. One that no table has is
// refused with those near it: saved as it is, it would be a row of its own in
// every answer. The shop adds a word by saying so.

// Word is one row of a table, for a list. Of the shop's own it says who added it; the
// trade's have nothing there.
type Word struct {
	Table string `json:"table"`
	ID    string `json:"id"`
	Name  string `json:"name"`
	Added string `json:"added,omitempty"` // when
	By    string `json:"by,omitempty"`
	Bench string `json:"bench,omitempty"`

	feed events.FeedID // of the shop's own
}

// Tables are the tables of words, in the order of a list.
var Tables = []string{"component", "failure mode", "work", "kind of set", "outcome", "cause"}

// Words lists the tables: the trade's rows and the shop's own.
func (s *Shop) Words() (list []Word, err error) {
	err = s.view(func(v *eventlog.View) error {
		list, err = wordsOf(v)
		return err
	})
	if err != nil {
		return nil, err
	}
	in, err := s.Roster()
	if err != nil {
		return nil, err
	}
	names := benchNames(in)
	for i, w := range list {
		if w.Added != "" {
			list[i].Bench = names(w.feed.Bench)
		}
	}
	return list, nil
}

func wordsOf(r projections.Reader) ([]Word, error) {
	var list []Word
	add := func(table, id, name string) { list = append(list, Word{Table: table, ID: id, Name: name}) }
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
	added, err := r.Events([16]byte{})
	slices.SortFunc(added, func(a, b events.Event) int { return a.ID.Compare(b.ID) })
	for _, e := range added {
		if body, bad := e.Body(); bad == nil {
			if t, ok := body.(events.TermAdded); ok {
				list = append(list, Word{Table: t.Table, ID: t.ID, Name: t.Name, Added: e.At.String(), By: e.By, feed: e.Feed})
			}
		}
	}
	return list, err
}

// AddWord adds a row to a table that does not have it.
func (s *Shop) AddWord(table, name string, w Who) (saved Saved, err error) {
	b := events.TermAdded{Table: table, ID: slug(name), Name: name}
	if b.ID == "" {
		return saved, &Wrong{"name", "needs letters from a to z or figures, which the word is sorted by in every answer"}
	}
	err = s.act(func(tx *eventlog.Tx) error {
		saved = Saved{}
		words, err := wordsOf(tx)
		if err != nil {
			return err
		}
		for _, have := range words {
			if have.Table == table && have.ID == b.ID {
				return &Wrong{"name", fmt.Sprintf("is in the table %s already, as %s (%s)", table, have.ID, have.Name)}
			}
		}
		return saved.add(tx, events.Draft{At: s.when(w), By: w.By, Body: b})
	})
	s.words.forget()
	return saved, err
}

// IsWord reports whether a table has a word as it is typed.
func (s *Shop) IsWord(table, typed string) (is bool, err error) {
	err = s.view(func(v *eventlog.View) error {
		_, no := knownWord(v, table, typed)
		if is = no == nil; errors.As(no, new(*NoWord)) {
			return nil
		}
		return no
	})
	return is, err
}

// knownWords puts the words of bodies into the tables' own form, or refuses
// one that is in none.
func knownWords(r projections.Reader, bodies []events.Body) ([]events.Body, error) {
	known := slices.Clone(bodies)
	for i, b := range known {
		fields := wordFields(&b)
		for _, table := range Tables { // in one order: the first of two that are wrong is always the same
			field := fields[table]
			if field == nil || *field == "" {
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
	return "", &NoWord{table, typed, near[:min(len(near), 5)]}
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
