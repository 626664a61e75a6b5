package eventlog_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/vfs"
)

// What the engine wrote down that it runs with. The reasons for each are in
// the catalogue of faults the project keeps: a format that tells a damaged log
// from its end (24 is the number of the engine's version 2.1 for it), and
// tables large enough for a catch-up.
func TestSettingsAreInForce(t *testing.T) {
	l, _, folder := eventstest.InTemp(t, 110)
	eventstest.SaveVisit(t, l)
	names, err := filepath.Glob(filepath.Join(folder, "log", "OPTIONS-*"))
	if err != nil || len(names) == 0 {
		t.Fatalf("no options written: %v", err)
	}
	b, err := os.ReadFile(names[len(names)-1])
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{
		fmt.Sprintf("format_major_version=%d", 24), fmt.Sprintf("mem_table_size=%d", 8<<20), "l0_stop_writes_threshold=24",
		"disable_wal=false", "filter_policy=rocksdb.BuiltinBloomFilter",
	} {
		if !strings.Contains(string(b), line) {
			t.Errorf("the options in force have no %q", line)
		}
	}
	if pebble.FormatValueSeparation != 24 {
		t.Errorf("the engine's number for this format is %d: a store of another one is not opened by an older program, so raise it on purpose only", pebble.FormatValueSeparation)
	}
	if got := l.Format(); got != pebble.FormatValueSeparation {
		t.Errorf("the store is of format %d", got)
	}
}

// A store that is filled at once merges its tables seldom, one that is full as reading
// wants it.
func TestASmallStoreMergesItsTablesLater(t *testing.T) {
	disk := vfs.NewMem()
	at := func() int { return eventlog.InForce(eventlog.Options{FS: disk, Dir: "log"}).L0CompactionThreshold }
	if got := at(); got != 8 {
		t.Errorf("where nothing is, tables are merged at %d", got)
	}
	put := func(name string, size int) {
		t.Helper()
		f, err := disk.Create("log/"+name, vfs.WriteCategoryUnspecified)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(make([]byte, size)); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := disk.MkdirAll("log", 0o700); err != nil {
		t.Fatal(err)
	}
	put("000002.log", 8<<20)
	put("000004.sst", 1<<20)
	if got := at(); got != 8 {
		t.Errorf("of a store of a MiB tables are merged at %d", got)
	}
	put("000005.sst", 1<<20)
	put("000006.sst", 1)
	if got := at(); got != 4 {
		t.Errorf("of a store of more than two MiB tables are merged at %d", got)
	}
}

// While a catch-up comes in, events lie in tables of their own, also after the engine
// merged some, so that those of a later action go where nothing is above them and are not
// written again. What else is written with them comes anew with each action.
func TestEventsOfACatchUpAreWrittenOnce(t *testing.T) {
	l, _, _ := eventstest.InTemp(t, 112)
	eventstest.SaveVisit(t, l)
	if err := errors.Join(l.Flush(), l.Compact(t), l.DeferViews()); err != nil {
		t.Fatal(err)
	}
	for _, asTables := range []bool{false, true, false, true} {
		l.WriteTables(asTables)
		eventstest.SaveVisit(t, l)
		if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
			t.Fatal(err)
		}
	}
	eventstest.SaveVisit(t, l)
	tables, above := l.Tables(t), 0
	for level, of := range tables {
		for _, table := range of {
			if table[0][0] <= 'e' && table[1][0] > 'e' || table[0][0] < 'v' && table[1][0] >= 'v' {
				t.Errorf("a table of level %d reaches from %q to %q", level, table[0], table[1])
			}
			if level == len(tables)-1 {
				continue
			}
			if above++; table[0][0] == 'e' {
				t.Errorf("events from %q on lie in level %d", table[0], level)
			}
		}
	}
	if above == 0 {
		t.Error("nothing lies above anything: this shows nothing")
	}
}

// What daily life leaves, an event and what follows from it at each opening, the engine
// merges into few tables.
func TestTablesOfDailyLifeArePutTogether(t *testing.T) {
	l, _, _ := eventstest.InTemp(t, 113)
	for range 12 {
		eventstest.SaveVisit(t, l)
		if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(slices.Concat(l.Tables(t)...)); n > 2 {
		t.Errorf("%d tables are left of 12 openings", n)
	}
}

// What follows from events lies all over its keys. Tables of it, one set for each piece of
// a book that is read in, would be merged again and again: it goes through memory.
func TestAnActionThatViewsFollowIsWrittenInABatch(t *testing.T) {
	for _, follows := range []bool{true, false} {
		o := eventstest.FoundShop(t, 115).Bench(t, 1).Options(vfs.NewMem(), "log")
		o.Projector = projector(counted)
		l := eventstest.Open(t, o)
		if !follows {
			if err := l.DeferViews(); err != nil {
				t.Fatal(err)
			}
		}
		if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
			t.Fatal(err)
		}
		before := len(slices.Concat(l.Tables(t)...))
		l.WriteTables(true)
		eventstest.SaveVisit(t, l)
		if made := len(slices.Concat(l.Tables(t)...)) > before; made == follows {
			t.Errorf("views follow: %v; tables were made: %v", follows, made)
		}
	}
}

// None of the engine's defaults that end the process is left.
func TestF05_EngineNeverEndsTheProcess(t *testing.T) {
	p := eventlog.InForce(eventlog.Options{})
	e := p.EventListener
	for what, missing := range map[string]bool{
		"logger": p.Logger == nil, "listener": e == nil, "data corruption": e.DataCorruption == nil,
		"background error": e.BackgroundError == nil, "write stall": e.WriteStallBegin == nil,
		"slow disk": e.DiskSlow == nil, "low disk space": e.LowDiskSpace == nil,
	} {
		if missing {
			t.Errorf("%s is the engine's default", what)
		}
	}
	if p.Logger == pebble.DefaultLogger {
		t.Error("the logger is the one that ends the process")
	}
	if p.DisableWAL || p.FormatMajorVersion != pebble.FormatValueSeparation {
		t.Errorf("write-ahead log off: %v, format %d", p.DisableWAL, p.FormatMajorVersion)
	}
}
