package main

import (
	"database/sql"
	"path/filepath"
	"strings"
)

// sqliteIndexes let SQLite answer every question from indexes alone, most of
// them in the order that it groups by.
var sqliteIndexes = []string{
	"visit (maker, model, nr, day)",
	"visit (made) WHERE nr = 1",
	"visit (days)",
	"visit (ending, outcome)",
	"visit (ending, received)",
	"visit (maker, ending, outcome)",
	"visit (received, ending, days, visit)",
	"visit (unit, visit, nr, received, shipped)",
	"visit (unit, nr, shipped)",
	"visit (visit, unit, shipped, received)",
	"visit (came, maker, model)",
	"visit (came, days)",
	"visit (came, nr, unit, received)",
	"visit (came, ending, received)",
	"visit (went, outcome)",
	"fault (made, component, mode, unit)",
	"fault (unit, component, mode, visit)",
	"fault (came, component, mode, visit)",
	"part (component, value, year)",
	"part (year)",
	"wait (what, days)",
	"wait (visit, what, days)",
	"bill (year, currency, minor)",
	"reading (maker, model, point, measure, base, unit) WHERE left_with = 1",
	"reading (maker, model, point, measure, base, mant, exp) WHERE left_with = 1",
}

// rowsCache holds all rows and indexes of the largest shop that is measured.
const rowsCache = 2048 // MiB

// openSQLiteRows opens SQLite with its rows.
func openSQLiteRows(dir string) (*rowPeer, error) {
	db, err := openSQLite(filepath.Join(dir, "rows.db"), rowsCache)
	return &rowPeer{name: "SQLite", db: db}, err
}

// createSQLiteRows makes the tables of rows. They are filled in one transaction
// and indexed afterwards.
func createSQLiteRows(dir string) (*rowPeer, error) {
	p, err := openSQLiteRows(dir)
	if err != nil {
		return nil, err
	}
	db := p.db
	if err := createTables(db); err != nil {
		return nil, err
	}
	tx, err := db.Begin()
	if err != nil {
		return nil, err
	}
	inserts := make([]*sql.Stmt, len(tables))
	for i, t := range tables {
		marks := strings.Repeat(", ?", strings.Count(t.columns, ",")+1)[2:]
		if inserts[i], err = tx.Prepare("INSERT INTO " + t.name + " VALUES (" + marks + ")"); err != nil {
			return nil, err
		}
	}
	p.add = func(table int, values ...any) error {
		_, err := inserts[table].Exec(values...)
		return err
	}
	p.done = func() error {
		for _, s := range inserts {
			if err := s.Close(); err != nil {
				return err
			}
		}
		if err := tx.Commit(); err != nil {
			return err
		}
		return indexSQLite(db)
	}
	return p, nil
}

func indexSQLite(db *sql.DB) error {
	for i, on := range sqliteIndexes {
		if _, err := db.Exec("CREATE INDEX rows_" + string(rune('a'+i)) + " ON " + on); err != nil {
			return err
		}
	}
	_, err := db.Exec("ANALYZE")
	return err
}
