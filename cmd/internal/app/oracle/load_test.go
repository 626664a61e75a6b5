package oracle_test

import (
	"bufio"
	"bytes"
	"database/sql"
	"database/sql/driver"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"modernc.org/sqlite"

	"oldhand/cmd/internal/app"
	"oldhand/events/measure"
)

// line is an event as the export gives it to other programs.
type line struct {
	ID      string         `json:"id"`
	Type    string         `json:"type"`
	Subject string         `json:"subject"`
	Time    string         `json:"time"`
	Data    map[string]any `json:"data"`
}

// exported reads a shop's export.
func exported(t testing.TB, s *app.Shop) (lines []line) {
	t.Helper()
	var b bytes.Buffer
	if _, err := s.ExportEvents(&b, app.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	scan := bufio.NewScanner(&b)
	scan.Buffer(nil, 1<<20)
	for scan.Scan() {
		var l line
		if err := json.Unmarshal(scan.Bytes(), &l); err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(l.Type, "oldhand.export.") {
			lines = append(lines, l)
		}
	}
	if err := scan.Err(); err != nil {
		t.Fatal(err)
	}
	return lines
}

func init() {
	sqlite.MustRegisterDeterministicScalarFunction("fold", 1, func(_ *sqlite.FunctionContext, in []driver.Value) (driver.Value, error) {
		return fold(in[0].(string)), nil
	})
	sqlite.MustRegisterDeterministicScalarFunction("spaced", 1, func(_ *sqlite.FunctionContext, in []driver.Value) (driver.Value, error) {
		return strings.ToLower(strings.Join(strings.Fields(in[0].(string)), " ")), nil
	})
	sqlite.MustRegisterDeterministicScalarFunction("marking", 1, func(_ *sqlite.FunctionContext, in []driver.Value) (driver.Value, error) {
		text, _ := in[0].(string)
		return marking(text)
	})
}

// fold is a maker or a model as it is compared: capitals and digits only.
func fold(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return r
		}
		return -1
	}, strings.ToUpper(s))
}

// marking is what was read of a part, in the notation of package measure.
func marking(sections string) (string, error) {
	var read []struct {
		Mant int64
		Exp  int8
		Unit string
	}
	if sections == "" {
		return "", nil
	}
	err := json.Unmarshal([]byte(sections), &read)
	var parts []string
	for _, q := range read {
		parts = append(parts, measure.Value{Mant: q.Mant, Exp: q.Exp, Unit: measure.Unit(q.Unit)}.Canonical())
	}
	return strings.Join(parts, " + "), err
}

// book is a shop's facts in tables, as of a day.
type book struct {
	*sql.DB
	asOf string
}

func load(t testing.TB, s *app.Shop, asOf string) book {
	t.Helper()
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1) // another connection would have a memory of its own
	t.Cleanup(func() { _ = db.Close() })
	b := book{db, asOf}
	b.do(t, "CREATE TABLE asof (day)")
	b.do(t, "INSERT INTO asof VALUES (?)", asOf)
	b.insert(t, b.known(standing(t, exported(t, s))))
	b.do(t, script(t, "visits"))
	return b
}

func (b book) do(t testing.TB, query string, args ...any) {
	t.Helper()
	if _, err := b.Exec(query, args...); err != nil {
		t.Fatal(err)
	}
}

// known leaves out what happened after the day asked about. Which units are one
// is no happening: what is known of it today holds for every day.
func (b book) known(facts []fact) []fact {
	return slices.DeleteFunc(facts, func(f fact) bool {
		day, dated := f.day.(string)
		return dated && day > b.asOf && f.name != "unit.same"
	})
}

func (b book) insert(t testing.TB, facts []fact) {
	t.Helper()
	b.do(t, "CREATE TABLE fact (id, name, unit, visit, day, place, data)")
	tx, err := b.Begin()
	if err != nil {
		t.Fatal(err)
	}
	put, err := tx.Prepare("INSERT INTO fact VALUES (?, ?, ?, ?, ?, ?, ?)")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range facts {
		data, err := json.Marshal(f.data)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := put.Exec(f.id, f.name, f.unit, f.visit, f.day, f.place, string(data)); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
}

func script(t testing.TB, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name+".sql"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// row is a row of an answer, by the names of its columns.
type row map[string]any

// rows asks the tables; the day asked about is :asof.
func (b book) rows(t testing.TB, query string, args ...any) (all []row) {
	t.Helper()
	rs, err := b.Query(query, append([]any{sql.Named("asof", b.asOf)}, args...)...)
	if err != nil {
		t.Fatalf("%v in\n%s", err, query)
	}
	defer rs.Close()
	names, err := rs.Columns()
	if err != nil {
		t.Fatal(err)
	}
	for rs.Next() {
		cells, into := make([]any, len(names)), make([]any, len(names))
		for i := range cells {
			into[i] = &cells[i]
		}
		if err := rs.Scan(into...); err != nil {
			t.Fatal(err)
		}
		r := row{}
		for i, n := range names {
			r[n] = cells[i]
		}
		all = append(all, r)
	}
	if err := rs.Err(); err != nil {
		t.Fatalf("%v in\n%s", err, query)
	}
	return all
}

func (r row) int(name string) int {
	switch n := r[name].(type) {
	case int64:
		return int(n)
	case int:
		return n
	}
	return 0
}

func (r row) text(name string) string {
	s, _ := r[name].(string)
	return s
}
