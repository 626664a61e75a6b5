package eventlog

import (
	"bytes"
	"testing"
	"time"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// What tests outside the package may reach of it.

// Tiny gives options for a store that flushes often and compacts only when it
// is told to, so that a short script touches every kind of file.
func Tiny(o Options) Options {
	o.memTable, o.calm = 24<<10, true
	return o
}

// Older gives options for a store that is made in the form of the first version.
func Older(o Options) Options {
	o.format = formatFirst
	return o
}

// Cold is Tiny of a store that keeps nothing in memory of what it reads, so that
// each reading is one of the disk.
func Cold(o Options) Options {
	o = Tiny(o)
	o.cold = true
	return o
}

// Hasty gives options for a log that does not wait for views when it is closed.
func Hasty(o Options) Options {
	o.grace = time.Millisecond
	return o
}

// WriteTables has each action written as tables, as large ones are, or in a batch.
// Nothing may be being saved meanwhile.
func (l *Log) WriteTables(yes bool) {
	l.manyKeys, l.ownTable = manyKeys, ownTable
	if yes {
		l.manyKeys, l.ownTable = 1, 3
	}
}

// Flush writes what is in memory into tables.
func (l *Log) Flush() error { return l.db.Flush() }

// Compact rewrites all tables into the lowest level.
func (l *Log) Compact(t testing.TB) error {
	return l.db.Compact(t.Context(), []byte{0}, []byte{255}, false)
}

// Tables are the first and last keys of the engine's tables, by level.
func (l *Log) Tables(t testing.TB) (levels [][][2][]byte) {
	t.Helper()
	all, err := l.db.SSTables()
	if err != nil {
		t.Fatal(err)
	}
	for _, of := range all {
		var level [][2][]byte
		for _, table := range of {
			level = append(level, [2][]byte{table.Smallest.UserKey, table.Largest.UserKey})
		}
		levels = append(levels, level)
	}
	return levels
}

// SetRaw writes a row behind the log's back.
func (l *Log) SetRaw(k, v []byte) error { return l.db.Set(k, v, pebble.Sync) }

// PutRaw writes a row behind the log's back, or takes it away where there is no
// value.
func (l *Log) PutRaw(k, v []byte) error {
	if v == nil {
		return l.db.Delete(k, pebble.Sync)
	}
	return l.SetRaw(k, v)
}

// FindRaw gives the first row from a key on.
func (l *Log) FindRaw(t testing.TB, family byte) (k, v []byte) {
	t.Helper()
	err := scan(l.db, []byte{family}, []byte{family + 1}, func(rk, rv []byte) (bool, error) {
		k, v = bytes.Clone(rk), bytes.Clone(rv)
		return false, nil
	})
	if err != nil || k == nil {
		t.Fatalf("no row of family %c: %v", family, err)
	}
	return k, v
}

// FindEvent is the key of an event's row.
func (l *Log) FindEvent(t testing.TB, v *View, h events.Head) []byte {
	t.Helper()
	n, ok, err := v.find(h)
	if err != nil || !ok {
		t.Fatalf("event %d has no row: %v", h.Seq, err)
	}
	return eventKey(n, h.Seq)
}

// InForce are the options the store engine runs with.
func InForce(o Options) *pebble.Options {
	o.setDefaults()
	return settings(o.FS, newFailure(nil), o, nil)
}

// Waiting is how many actions wait for the commit under way.
func (l *Log) Waiting() int {
	l.queue.mu.Lock()
	defer l.queue.mu.Unlock()
	return len(l.queue.waiting)
}

// Closing reports whether no action is let in any more.
func (l *Log) Closing() bool {
	l.queue.mu.Lock()
	defer l.queue.mu.Unlock()
	return l.queue.closed
}

// GetRaw reads a row behind the log's back.
func (l *Log) GetRaw(t testing.TB, k []byte) []byte {
	t.Helper()
	v, err := get(l.db, k)
	if err != nil || v == nil {
		t.Fatalf("no row %x: %v", k, err)
	}
	return v
}

// Format is the engine's format of the store.
func (l *Log) Format() pebble.FormatMajorVersion { return l.db.FormatMajorVersion() }

// Events calls fn with every event as Records does.
func (b *Bulk) Events(fn func(events.Event) error) error {
	return b.log.spacing.eachRecord(b.log.db, &b.log.feeds, 1, func(_ int, f events.FeedID, seq uint64, h events.Hash, record []byte) error {
		e, err := events.Trusted(f, seq, record, h)
		if err != nil {
			return err
		}
		return fn(e)
	})
}
