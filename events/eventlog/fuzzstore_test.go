package eventlog_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// treeOnDisk is a store that holds a row of nearly every family: events of this
// bench and of another, a feed of three branches, signed heads, a cut, a key, an
// order to forget and a mark.
func treeOnDisk(t testing.TB) (disk *vfs.MemFS, b *eventstest.Bench, all map[events.Hash]bool, rows [][2][]byte) {
	t.Helper()
	disk = vfs.NewCrashableMem()
	shop := eventstest.FoundShop(t, 77)
	b = shop.Bench(t, 1)
	l := eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
	eventstest.SaveNotes(t, l, unit, "own", 30)
	trunk, second, third := tree(t, shop)
	takeRuns(t, l, trunk, second, third)
	order, err := shop.Owner.Forget(shop.ID, events.PersonID{2})
	if err != nil {
		t.Fatal(err)
	}
	err = l.Append(bg, func(tx *eventlog.Tx) error {
		tx.PutMark([]byte("m"), []byte{1})
		return errors.Join(tx.PutPersonKey(events.PersonID{1}, events.PersonKey{3}), tx.KeepPerson(events.KeyEntry{Person: events.PersonID{2}, Order: order}))
	})
	err = errors.Join(err, l.SetCuts(map[eventlog.Branch]uint64{eventlog.First(trunk.head.Feed): 5}, false))
	if err != nil {
		t.Fatal(err)
	}
	all = map[events.Hash]bool{}
	viewOf(t, l, func(v *eventlog.View) error {
		return eachOf(l, v, func(e events.Event) { all[e.Hash] = true })
	})
	for _, family := range "bcefknsux" {
		k, v := l.FindRaw(t, byte(family))
		rows = append(rows, [2][]byte{k, v})
	}
	closeLog(t, l)
	return disk, b, all, rows
}

// eachOf reads everything that a log gives, whichever way it is asked.
func eachOf(l *eventlog.Log, v *eventlog.View, fn func(events.Event)) error {
	_, err := v.Scrub(nil)
	for _, r := range l.Branches() {
		err = errors.Join(err, v.BranchEvents(r.Branch, 0, func(e events.Event) (bool, error) { fn(e); return true, nil }))
		_, along := v.Along(1, r.Head)
		_, _, run := v.BranchRun(r.Branch, 0)
		err = errors.Join(err, along, run)
	}
	_, heads := v.CountedHeads()
	_, proven := l.Proven()
	_, listed := v.AllEvents(unit)
	persons := v.Persons(func(events.KeyEntry) (bool, error) { return true, nil })
	marks := v.Marks([]byte{0}, []byte{255}, func(_, _ []byte) (bool, error) { return true, nil })
	each := v.Each(func(events.Event) error { return nil })
	return errors.Join(err, heads, proven, listed, persons, marks, each)
}

// One row of the store holds something else, or stands where there was none, as
// a disk or a hand may have left it. Opening refuses and says why, or the log
// opens, and whatever it is asked it says that it is damaged or gives events
// that were written (F04, P1). It neither stops the program nor goes on for ever.
func FuzzStoredRow(f *testing.F) {
	disk, b, all, rows := treeOnDisk(f)
	for i, row := range rows {
		k, v := row[0], row[1]
		f.Add(k, v)
		f.Add(k, []byte{})
		f.Add(k[:min(3, len(k))], v)
		f.Add(append(bytes.Clone(k), 0), v)
		f.Add(k, append(bytes.Clone(v), 1))
		f.Add(k, rows[(i+1)%len(rows)][1])
	}
	f.Add([]byte("nformat"), []byte{99})
	f.Add([]byte("nshop"), []byte{1})
	f.Add([]byte("nown"), []byte{0, 0, 0, 200})
	f.Add([]byte("nlost"), []byte{1})
	f.Fuzz(func(t *testing.T, k, val []byte) {
		if len(k) == 0 || len(k) > 100 || len(val) > 2000 {
			return
		}
		o := eventlog.Tiny(b.Options(disk.CrashClone(vfs.CrashCloneCfg{RNG: rand.New(rand.NewPCG(1, 1))}), "log"))
		l := eventstest.Open(t, o)
		if err := errors.Join(l.SetRaw(k, val), l.Close()); err != nil {
			t.Fatal(err)
		}
		l, err := eventlog.Open(o)
		if err != nil {
			if !isSaid(err) {
				t.Fatalf("row %x: %x: opening gives an error of no kind: %v", k, val, err)
			}
			return
		}
		defer l.Close()
		v, err := l.View()
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		var given []events.Event
		err = eachOf(l, v, func(e events.Event) { given = append(given, e) })
		if err != nil && !isSaid(err) {
			t.Fatalf("row %x: %x: reading gives an error of no kind: %v", k, val, err)
		}
		for _, e := range given {
			if err == nil && !all[e.Hash] {
				t.Fatalf("row %x: %x: event %d of %s was never written, and nobody says so", k, val, e.Seq, e.Feed.Short())
			}
		}
	})
}

// isSaid reports whether an error is one of those by which a log says that it can't
// be read as it is.
func isSaid(err error) bool {
	for _, known := range []error{eventlog.ErrDamaged, eventlog.ErrNewer, eventlog.ErrNoStore, events.ErrLink, events.ErrMalformed, events.ErrSignature} {
		if errors.Is(err, known) {
			return true
		}
	}
	return strings.Contains(err.Error(), "the store is of shop")
}
