package main

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"path/filepath"

	"github.com/duckdb/duckdb-go/v2" // the peer
)

// connectDuckDB opens DuckDB on two threads and on a file: only there it packs
// columns, and counts words by their numbers in a dictionary, which takes about half
// of the time that tables in memory take. It has no indexes, since it reads the
// columns that a question names from end to end and no question picks out few rows.
func connectDuckDB(dir string) (*rowPeer, driver.Connector, error) {
	connector, err := duckdb.NewConnector(filepath.Join(dir, "rows.duckdb")+"?threads=2", nil)
	if err != nil {
		return nil, nil, err
	}
	return &rowPeer{name: "DuckDB", db: sql.OpenDB(connector)}, connector, nil
}

// openDuckDB opens DuckDB with its rows.
func openDuckDB(dir string) (*rowPeer, error) {
	p, _, err := connectDuckDB(dir)
	return p, err
}

// createDuckDB makes the tables of rows.
func createDuckDB(dir string) (*rowPeer, error) {
	p, connector, err := connectDuckDB(dir)
	if err != nil {
		return nil, err
	}
	if err := createTables(p.db); err != nil {
		return nil, err
	}
	conn, err := connector.Connect(context.Background())
	if err != nil {
		return nil, err
	}
	appenders := make([]*duckdb.Appender, len(tables))
	for i, t := range tables {
		if appenders[i], err = duckdb.NewAppenderFromConn(conn, "", t.name); err != nil {
			return nil, err
		}
	}
	var row []driver.Value
	p.add = func(table int, values ...any) error {
		row = row[:0]
		for _, v := range values {
			row = append(row, v)
		}
		return appenders[table].AppendRow(row...)
	}
	p.done = func() error {
		for _, a := range appenders {
			if err := a.Close(); err != nil {
				return err
			}
		}
		if err := conn.Close(); err != nil {
			return err
		}
		_, err := p.db.Exec("CHECKPOINT")
		return err
	}
	return p, nil
}
