package main

import (
	"database/sql"
	"errors"
	"fmt"
	"os"

	"oldhand/events/eventlog"
)

// rowPeer is a peer that answers from tables of rows.
type rowPeer struct {
	name string
	db   *sql.DB
	add  adding
	done func() error // after the last row: commits, indexes, gathers statistics
}

// lite is SQLite with the rows of the front, until the turn is over.
func (t *turn) lite() *rowPeer { return t.rowsIn(liteFolder, createSQLiteRows, openSQLiteRows) }

// duck is DuckDB with the same.
func (t *turn) duck() *rowPeer { return t.rowsIn(duckFolder, createDuckDB, openDuckDB) }

func (t *turn) rowsIn(name string, create, open func(dir string) (*rowPeer, error)) *rowPeer {
	dir := t.inStock(name, func(t *turn, place string) {
		t.check(os.Mkdir(place, 0o700))
		p, err := create(place)
		t.check(err)
		t.check(errors.Join(fillRows(t.viewOf(t.front()), p), p.db.Close()))
	})
	p, err := open(dir)
	t.check(err)
	t.Cleanup(func() { t.late = errors.Join(t.late, p.db.Close()) })
	return p
}

// fillRows makes the peers' tables and gives each the rows of a view, in one
// reading of it.
func fillRows(v *eventlog.View, peers ...*rowPeer) error {
	err := exportRows(v, func(table int, values ...any) error {
		for _, p := range peers {
			if err := p.add(table, values...); err != nil {
				return fmt.Errorf("%s: a row of %s: %w", p.name, tables[table].name, err)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, p := range peers {
		if err := p.done(); err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
	}
	return nil
}

// createTables makes the tables, empty.
func createTables(db *sql.DB) error {
	for _, t := range tables {
		if _, err := db.Exec("CREATE TABLE " + t.name + " (" + t.columns + ")"); err != nil {
			return fmt.Errorf("create table %s: %w", t.name, err)
		}
	}
	return nil
}

// asking is a question's statements, prepared at one peer.
type asking []*sql.Stmt

func (p *rowPeer) prepare(q peerQuestion) (a asking, err error) {
	for _, text := range q.asks {
		s, err := p.db.Prepare(text)
		if err != nil {
			return nil, fmt.Errorf("%s: prepare %q: %w", p.name, text, err)
		}
		a = append(a, s)
	}
	return a, nil
}

func (a asking) close() (err error) {
	for _, s := range a {
		if e := s.Close(); err == nil {
			err = e
		}
	}
	return err
}

// line is one row of a peer's answer.
type line []any

// each runs the statements and calls fn with every row of the answers.
func (a asking) each(fn func(ask int, rows *sql.Rows) error) error {
	for i, s := range a {
		rows, err := s.Query()
		if err != nil {
			return err
		}
		for rows.Next() {
			if err := fn(i, rows); err != nil {
				return err
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
		if err := rows.Close(); err != nil {
			return err
		}
	}
	return nil
}

// run reads the answers to their end and keeps nothing.
func (a asking) run() error {
	return a.each(func(int, *sql.Rows) error { return nil })
}

// lines are the answers, a list a statement.
func (a asking) lines() ([][]line, error) {
	answers := make([][]line, len(a))
	return answers, a.each(func(ask int, rows *sql.Rows) error {
		names, err := rows.Columns()
		if err != nil {
			return err
		}
		l, into := make(line, len(names)), make([]any, len(names))
		for i := range l {
			into[i] = &l[i]
		}
		answers[ask] = append(answers[ask], l)
		return rows.Scan(into...)
	})
}
