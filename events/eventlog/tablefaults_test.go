package eventlog_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// nthFails is a disk on which the n-th operation of a kind, from 1, fails in the folder
// of what is being written.
func nthFails(n int64, cause error, kinds ...errorfs.OpKind) *broken {
	var ops atomic.Int64
	return &broken{err: cause, which: func(op errorfs.Op) bool {
		for _, k := range kinds {
			if op.Kind == k && strings.Contains(op.Path, "making") {
				return ops.Add(1) == n
			}
		}
		return false
	}}
}

// An action that is written as tables needs several: whichever can't be made, nothing
// of the action is there, the handle goes on, and the action is saved when it is tried
// again.
func TestF08_WhicheverTableOfAnActionCanNotBeMade_P2_P3_P13(t *testing.T) {
	action := func(tx *eventlog.Tx) error {
		tx.PutMark([]byte("mark"), []byte("1"))
		tx.Put([]byte("view"), []byte("1"))
		_, err := eventstest.AddNotes(tx, unit, "tables", noteSize)
		return errors.Join(err, tx.PutPersonKey(events.PersonID{1}, events.PersonKey{1}))
	}
	for n := int64(1); ; n++ {
		disk := vfs.NewCrashableMem()
		b := eventstest.FoundShop(t, 500).Bench(t, 1)
		bad := nthFails(n, syscall.EIO, createOrSync...)
		l := eventstest.Open(t, b.Options(bad.over(disk), "log"))
		l.WriteTables(true)
		var a acks
		if err := a.save(l, "before"); err != nil {
			t.Fatal(err)
		}
		bad.on.Store(true)
		err := l.Append(bg, action)
		if bad.hits.Load() == 0 {
			if err != nil || n < 7 { // three stretches of keys, a file each and its sync
				t.Errorf("%d operations, and then %v", n-1, err)
			}
			return
		}
		if !errors.Is(err, syscall.EIO) {
			t.Fatalf("operation %d: %v", n, err)
		}
		if l.Err() != nil {
			t.Fatalf("operation %d: the handle is dead: %v", n, l.Err())
		}
		mustSound(t, l, a.list())
		if got := len(eventstest.All(t, l)); got != 1+noteSize || view(t, l, "view") != nil {
			t.Errorf("operation %d: %d events, and the view is %q", n, got, view(t, l, "view"))
		}
		if err := l.Append(bg, action); err != nil {
			t.Errorf("operation %d: again: %v", n, err)
		}
		closeLog(t, l)
		again := eventstest.Open(t, b.Options(asFound(disk), "log"))
		if got := len(eventstest.All(t, again)); got != 1+2*noteSize {
			t.Errorf("operation %d: %d events when opened again", n, got)
		}
	}
}

// createOrSync are the operations that a table fails at.
var createOrSync = []errorfs.OpKind{errorfs.OpCreate, errorfs.OpFileSync}

// noTakingIn is a disk on which the store can't take tables in: it can neither link nor
// copy them.
func noTakingIn() *broken {
	var linking atomic.Bool // a table that is flushed from before is not what breaks here
	return &broken{err: syscall.EIO, which: func(op errorfs.Op) bool {
		if op.Kind == errorfs.OpLink {
			linking.Store(true)
		}
		return linking.Load() && (op.Kind == errorfs.OpLink || op.Kind == errorfs.OpCreate && strings.HasSuffix(op.Path, ".sst"))
	}}
}

// Tables of an action that can't be taken in leave unknown whether it was saved: the
// handle dies, and the next opening has all of it or nothing.
func TestF06_AnActionsTablesThatAreNotTakenInEndTheHandle_P2_P3(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 501).Bench(t, 1)
	bad := noTakingIn()
	l := eventstest.Open(t, b.Options(bad.over(disk), "log"))
	l.WriteTables(true)
	var a acks
	if err := a.save(l, "before"); err != nil {
		t.Fatal(err)
	}
	bad.on.Store(true)
	wantErr(t, a.save(l, "unknown"), eventlog.ErrDead)
	wantErr(t, l.Err(), syscall.EIO)
	mustSound(t, l, a.list())
	if got := len(eventstest.All(t, l)); got != 1+noteSize {
		t.Errorf("the dead handle shows %d events", got)
	}
	mustGoOn(t, l, b, disk, &a)
}

// Files that can't be taken away are told of and in nobody's way.
func TestF08_FilesThatCanNotBeTakenAwayAreToldOf_P13(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 502).Bench(t, 1)
	bad := broken{err: syscall.EACCES, which: func(op errorfs.Op) bool { return op.Kind == errorfs.OpRemoveAll }}
	var said []string
	o := b.Options(bad.over(disk), "log")
	o.Warn = func(text string) { said = append(said, text) }
	l := eventstest.Open(t, o)
	err := l.Rewrite("v1", func(bulk *eventlog.Bulk) error {
		err := bulk.Put([]byte("view"), []byte("1"))
		bad.on.Store(true)
		return err
	})
	if err != nil || view(t, l, "view") == nil {
		t.Fatalf("it gives %v, and the view is %q", err, view(t, l, "view"))
	}
	if len(said) != 1 || !strings.Contains(said[0], "not needed any more") || !strings.Contains(said[0], "making") {
		t.Errorf("said %q", said)
	}
	wantErr(t, l.Rewrite("v2", func(bulk *eventlog.Bulk) error { return bulk.Put([]byte("view"), []byte("2")) }), syscall.EACCES)
	bad.on.Store(false)
	if err := l.Rewrite("v3", func(bulk *eventlog.Bulk) error { return bulk.Put([]byte("view"), []byte("3")) }); err != nil {
		t.Fatal(err)
	}
	if got := view(t, l, "view"); string(got) != "3" {
		t.Errorf("the view is %q", got)
	}
}

// noise is so many bytes that don't pack.
func noise(t *testing.T, seed uint64, n int) []byte {
	t.Helper()
	b := make([]byte, n)
	if _, err := io.ReadFull(eventstest.Seeded(seed), b); err != nil {
		t.Fatal(err)
	}
	return b
}

// More views than a table holds go into several. A key that does not rise is seen also
// where it is the first of the next table, and what comes then goes to the store.
func TestViewsOfSeveralTablesAreAllThere(t *testing.T) {
	const many = 40 // a table takes 32 MiB
	key := func(i int) []byte { return fmt.Appendf(nil, "k%03d", i) }
	value := noise(t, 503, 1<<20)
	for rising := 32; rising <= 33; rising++ { // where the next table begins, by what of the first is packed yet
		l := eventstest.Open(t, eventstest.FoundShop(t, 503).Bench(t, 1).Options(vfs.NewMem(), "log"))
		err := l.Rewrite("v1", func(bulk *eventlog.Bulk) (err error) {
			for i := range many {
				value[0] = byte(i)
				err = errors.Join(err, bulk.Put(key(i), value))
				if i == rising-1 {
					value[0] = 200
					err = errors.Join(err, bulk.Put(key(i-1), value))
				}
			}
			return err
		})
		if err != nil {
			t.Fatalf("%d rise: %v", rising, err)
		}
		for i := range many {
			want := byte(i)
			if i == rising-2 {
				want = 200
			}
			if got := view(t, l, string(key(i))); len(got) != len(value) || got[0] != want {
				t.Fatalf("%d rise: view %d is of %d bytes", rising, i, len(got))
			}
		}
		closeLog(t, l)
	}
}

// The disk is full where a table ends and the next begins: the views are of no version,
// and made once there is room.
func TestF07_NoRoomAtTheEndOfATable_P13(t *testing.T) {
	const many = 40
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 504).Bench(t, 1)
	full := nthFails(1, syscall.ENOSPC, errorfs.OpFileSync)
	l := eventstest.Open(t, b.Options(full.over(disk), "log"))
	eventstest.SaveVisit(t, l)
	value := noise(t, 504, 1<<20)
	put := func(bulk *eventlog.Bulk) error {
		for i := range many {
			if err := bulk.Put(fmt.Appendf(nil, "k%03d", i), value); err != nil {
				return fmt.Errorf("view %d: %w", i, err)
			}
		}
		return nil
	}
	full.on.Store(true)
	err := l.Rewrite("v1", put)
	if wantErr(t, err, syscall.ENOSPC); !strings.Contains(err.Error(), "view 3") { // of 30 and some
		t.Errorf("it says %v", err)
	}
	if v := views(t, l); v != "" || l.Err() != nil {
		t.Errorf("views are of version %q (%v)", v, l.Err())
	}
	if err := l.Rewrite("v1", put); err != nil {
		t.Fatal(err)
	}
	for i := range many {
		if got := view(t, l, fmt.Sprintf("k%03d", i)); len(got) != len(value) {
			t.Fatalf("view %d is of %d bytes", i, len(got))
		}
	}
	mustHaveVisit(t, l)
}

// The last table of all views can't be finished: nothing was taken away before, so the
// old views are seen, the handle goes on, and the next rewrite makes them.
func TestF07_NoRoomForTheLastTableOfViewsLeavesTheOldOnes_P13(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 505).Bench(t, 1)
	full := nthFails(1, syscall.ENOSPC, errorfs.OpFileSync)
	l := openCounting(t, b, b.Options(full.over(disk), "log"))
	eventstest.SaveVisit(t, l)
	if err := l.Rewrite("v1", countAgain); err != nil {
		t.Fatal(err)
	}
	feed := l.Heads()[0].Feed.String()
	full.on.Store(true)
	wantErr(t, l.Rewrite("v2", countAgain), syscall.ENOSPC)
	if got := view(t, l, feed); string(got) != "7" || views(t, l) != "" || l.Err() != nil {
		t.Errorf("the view is %q, of version %q (%v)", got, views(t, l), l.Err())
	}
	eventstest.SaveVisit(t, l)
	if got := view(t, l, feed); string(got) != "13" {
		t.Errorf("after another visit the view is %q", got)
	}
	if err := l.Rewrite("v2", countAgain); err != nil || views(t, l) != "v2" {
		t.Errorf("views are of version %q (%v)", views(t, l), err)
	}
}
