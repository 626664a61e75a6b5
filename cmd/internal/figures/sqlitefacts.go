package main

import (
	"database/sql"
	"fmt"

	"oldhand/events"

	_ "github.com/mattn/go-sqlite3" // the peer
)

// peer is SQLite holding the same facts: every event with its record, found by
// feed and number and by unit; every unit, found by serial and by model; and a
// count of units per model kept as events come.
type peer struct {
	db   *sql.DB
	like events.Event // what is appended is like it
}

const schema = `
CREATE TABLE event (feed INTEGER NOT NULL, seq INTEGER NOT NULL, id BLOB NOT NULL, kind INTEGER NOT NULL,
	unit BLOB NOT NULL, day INTEGER, hash BLOB NOT NULL, record BLOB NOT NULL, PRIMARY KEY (feed, seq)) WITHOUT ROWID;
CREATE INDEX event_unit ON event (unit, day, id);
CREATE TABLE unit (id BLOB PRIMARY KEY, maker TEXT, model TEXT, serial TEXT) WITHOUT ROWID;
CREATE INDEX unit_serial ON unit (serial);
CREATE INDEX unit_model ON unit (maker, model);
CREATE TABLE models (maker TEXT, model TEXT, units INTEGER NOT NULL, PRIMARY KEY (maker, model)) WITHOUT ROWID;
`

// openSQLite opens one database file on one connection, with so many MiB of its
// pages in memory.
func openSQLite(file string, cacheMiB int) (*sql.DB, error) {
	db, err := sql.Open("sqlite3", fmt.Sprintf("%s?_journal_mode=WAL&_synchronous=FULL&_cache_size=-%d", file, cacheMiB<<10))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

// createFacts makes the file, with tables that hold nothing.
func createFacts(file string) (*peer, error) {
	db, err := openSQLite(file, 64)
	if err != nil {
		return nil, err
	}
	if _, err := db.Exec(schema); err != nil {
		return nil, fmt.Errorf("create tables in %s: %w", file, err)
	}
	return &peer{db: db}, nil
}

// adder is the peer's prepared statements in one transaction.
type adder struct {
	tx                 *sql.Tx
	event, unit, model *sql.Stmt
	feeds              map[events.FeedID]int
}

func (p *peer) begin(feeds map[events.FeedID]int) (a *adder, err error) {
	a = &adder{feeds: feeds}
	if a.tx, err = p.db.Begin(); err != nil {
		return nil, err
	}
	for _, s := range []struct {
		into **sql.Stmt
		text string
	}{
		{&a.event, "INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?)"},
		{&a.unit, "INSERT OR IGNORE INTO unit VALUES (?, ?, ?, ?)"},
		{&a.model, "INSERT INTO models VALUES (?, ?, 1) ON CONFLICT DO UPDATE SET units = units + 1"},
	} {
		if *s.into, err = a.tx.Prepare(s.text); err != nil {
			return nil, err
		}
	}
	return a, nil
}

func (a *adder) add(e events.Event) error {
	feed, ok := a.feeds[e.Feed]
	if !ok {
		feed = len(a.feeds)
		a.feeds[e.Feed] = feed
	}
	if _, err := a.event.Exec(feed, int64(e.Seq), e.ID[:], int(e.Kind), e.About[:], int(e.At.Day), e.Hash[:], e.Record); err != nil {
		return err
	}
	if e.Kind != events.KindReceived {
		return nil
	}
	b, err := e.Body()
	if err != nil {
		return err
	}
	r := b.(events.Received)
	res, err := a.unit.Exec(e.About[:], r.Maker, r.Model, events.Key(r.Serial))
	if err != nil {
		return err
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return err
	}
	_, err = a.model.Exec(r.Maker, r.Model)
	return err
}

func (a *adder) commit() error {
	for _, s := range []*sql.Stmt{a.event, a.unit, a.model} {
		if err := s.Close(); err != nil {
			return err
		}
	}
	return a.tx.Commit()
}
