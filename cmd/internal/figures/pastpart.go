package main

import (
	"database/sql"
	"errors"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/projections"
)

// errNoPast is what is wrong where a figure would be about nothing.
var errNoPast = errors.New("a unit has no past here")

// sampled is how many units a lookup is one of.
const sampled = 5000

// A unit's whole past by its id, from one read of the store; beside it all its
// events from SQLite, in their order, by the index that is there for it. Then what
// the program does with a serial that somebody typed.
func pastPart(t *turn) {
	s, p := t.openCopy(t.front()), t.facts()
	units := t.sample(s)
	v, err := s.Log.View()
	t.check(err)
	defer v.Close()
	query, err := p.db.Prepare("SELECT id, kind, day, record FROM event WHERE unit = ? ORDER BY day, id")
	t.check(err)
	defer query.Close()
	past := &figure{name: "a unit's past in the store, p50", unit: seconds, peer: "SQLite", goal: atMost(10e-6)}
	slow := &figure{name: "a unit's past in the store, p99", unit: seconds, peer: "SQLite"}
	typed := &figure{name: "lookup of a typed serial, p50", unit: seconds}
	t.rounds(func() {
		var ours, theirs, lookups []float64
		for i := range 10 * t.each { // they are short
			u := units[i*7919%len(units)]
			ours = append(ours, t.timed(func() error { return loadPast(v, u.id) }))
			theirs = append(theirs, t.timed(func() error { return readPast(query, u.id) }))
		}
		for i := range t.each {
			lookups = append(lookups, t.timed(func() error { return lookUp(s, units[i*7919%len(units)].serial) }))
		}
		past.beside(percentile(ours, 50), percentile(theirs, 50))
		slow.beside(percentile(ours, 99), percentile(theirs, 99))
		typed.alone(percentile(lookups, 50))
	})
	t.tell(past, slow, typed)
}

// known is a unit with what somebody may type.
type known struct {
	id     events.UnitID
	serial string
}

// sample are units from all over the shop's years.
func (t *turn) sample(s *app.Shop) (list []known) {
	v, err := s.Log.View()
	t.check(err)
	defer v.Close()
	every, n := max(1, t.stock.units/sampled), 0
	t.check(projections.EachHistory(v, func(h *projections.History) (bool, error) {
		if n++; n%every == 0 && h.Serial != "" {
			list = append(list, known{h.Root, h.Serial})
		}
		return true, nil
	}))
	if len(list) == 0 {
		t.Fatalf("no unit has a serial")
	}
	return list
}

func loadPast(v projections.Reader, u events.UnitID) error {
	h, err := projections.Load(v, u)
	if err == nil && (h == nil || len(h.Visits) == 0) {
		return errNoPast
	}
	return err
}

func lookUp(s *app.Shop, serial string) error {
	found, _, err := s.Lookup(serial, 10)
	if err == nil && len(found) == 0 {
		return errNoPast
	}
	return err
}

// readPast reads a unit's events from SQLite to their end.
func readPast(query *sql.Stmt, u events.UnitID) error {
	rows, err := query.Query(u[:])
	if err != nil {
		return err
	}
	var id, record []byte
	var kind, day, n int
	for ; rows.Next(); n++ {
		if err := rows.Scan(&id, &kind, &day, &record); err != nil {
			return err
		}
	}
	if err := rows.Close(); err != nil {
		return err
	}
	if n == 0 {
		return errNoPast
	}
	return rows.Err()
}
