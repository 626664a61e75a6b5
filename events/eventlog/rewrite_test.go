package eventlog_test

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// counted is a projection: how many events each feed has, by its name.
func counted(tx *eventlog.Tx, evs []events.Event) error {
	for _, e := range evs {
		tx.Put([]byte(e.Feed.String()), fmt.Append(nil, e.Seq))
	}
	return nil
}

func openCounting(t *testing.T, b *eventstest.Bench, o eventlog.Options) *eventlog.Log {
	t.Helper()
	o.Projector = projector(counted)
	return eventstest.Open(t, o)
}

// countAgain writes the same views wholesale.
func countAgain(b *eventlog.Bulk) error {
	return b.Events(func(e events.Event) error {
		return b.Put([]byte(e.Feed.String()), fmt.Append(nil, e.Seq))
	})
}

func views(t *testing.T, l *eventlog.Log) string {
	t.Helper()
	v, err := l.Views()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestRewriteWritesTheViewsAnew_P5(t *testing.T) {
	_, b, _ := eventstest.OnMem(t, 130)
	folder := t.TempDir()
	l := openCounting(t, b, b.InFolder(folder))
	eventstest.SaveVisit(t, l)
	feed := l.Heads()[0].Feed.String()
	err := l.Append(t.Context(), func(tx *eventlog.Tx) error { tx.Put([]byte("stale"), []byte("1")); return nil })
	if err != nil {
		t.Fatal(err)
	}
	if v := views(t, l); v != "" {
		t.Errorf("views are of version %q before they were written", v)
	}
	if err := l.Rewrite("v1", countAgain); err != nil {
		t.Fatal(err)
	}
	check := func(l *eventlog.Log) {
		t.Helper()
		if v := views(t, l); v != "v1" {
			t.Errorf("views are of version %q", v)
		}
		if got := view(t, l, "stale"); got != nil {
			t.Error("a view of before is left")
		}
		if got := view(t, l, feed); string(got) != "7" {
			t.Errorf("the feed's view is %q", got)
		}
	}
	check(l)
	closeLog(t, l)
	l = openCounting(t, b, b.InFolder(folder))
	check(l)
	eventstest.SaveVisit(t, l)
	if got := view(t, l, feed); string(got) != "13" {
		t.Errorf("after another visit the feed's view is %q", got)
	}
}

// Readers keep the old views until the new ones are whole, and actions wait.
func TestRewriteIsAloneAndUnseenUntilItIsDone(t *testing.T) {
	fsLog, b, _ := eventstest.OnMem(t, 131)
	closeLog(t, fsLog)
	l := openCounting(t, b, b.InFolder(t.TempDir()))
	eventstest.SaveVisit(t, l)
	feed := l.Heads()[0].Feed.String()
	saved := make(chan error, 1)
	started := make(chan struct{})
	err := l.Rewrite("v1", func(bulk *eventlog.Bulk) error {
		go func() {
			close(started)
			var a acks
			saved <- a.save(l, "meanwhile")
		}()
		<-started
		if err := bulk.Put([]byte(feed), make([]byte, 5<<20)); err != nil { // larger than a bulk's batch: it goes to the store
			return err
		}
		time.Sleep(20 * time.Millisecond) // lets the action come; too short only weakens the test
		if got := view(t, l, feed); string(got) != "7" {
			t.Errorf("while views are rewritten %d bytes are read", len(got))
		}
		select {
		case err := <-saved:
			t.Errorf("an action was made meanwhile: %v", err)
		default:
		}
		return countAgain(bulk)
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := <-saved; err != nil {
		t.Fatal(err)
	}
	if got := view(t, l, feed); string(got) != "10" {
		t.Errorf("the view is %q", got)
	}
}

// A rewrite that fails, or that a crash breaks off, leaves views of no version.
func TestRewriteBrokenOffLeavesNoVersion(t *testing.T) {
	for how, breakOff := range map[string]func() error{
		"by an error": func() error { return errTurnedBack },
		"by a panic":  func() error { panic("a bug in a projection") },
	} {
		t.Run(how, func(t *testing.T) {
			b := eventstest.FoundShop(t, 132).Bench(t, 1)
			l, disk := onMem(t, b)
			eventstest.SaveVisit(t, l)
			if err := l.Rewrite("v1", countAgain); err != nil {
				t.Fatal(err)
			}
			err := l.Rewrite("v2", func(bulk *eventlog.Bulk) error {
				return errors.Join(countAgain(bulk), breakOff())
			})
			if err == nil {
				t.Fatal("no error")
			}
			again := eventstest.Open(t, b.Options(asFound(disk), "log"))
			if v := views(t, again); v != "" {
				t.Errorf("views are of version %q after v2 was broken off", v)
			}
			if err := again.Rewrite("v2", countAgain); err != nil {
				t.Fatal(err)
			}
			if v := views(t, again); v != "v2" {
				t.Errorf("views are of version %q", v)
			}
			mustHaveVisit(t, again)
		})
	}
}

func onMem(t *testing.T, b *eventstest.Bench) (*eventlog.Log, *vfs.MemFS) {
	t.Helper()
	disk := vfs.NewCrashableMem()
	return eventstest.Open(t, b.Options(disk, "log")), disk
}

// Between DeferViews and Rewrite events are saved and nothing follows from them;
// a log that is closed or lost in between says that its views are not whole.
func TestDeferredViewsAreMadeByTheNextRewrite_P1_P5(t *testing.T) {
	_, b, _ := eventstest.OnMem(t, 131)
	folder := t.TempDir()
	l := openCounting(t, b, b.InFolder(folder))
	eventstest.SaveVisit(t, l)
	if err := l.Rewrite("v1", countAgain); err != nil {
		t.Fatal(err)
	}
	feed, before := l.Heads()[0].Feed.String(), l.Heads()[0].Seq
	if err := l.DeferViews(); err != nil {
		t.Fatal(err)
	}
	eventstest.SaveVisit(t, l)
	after := l.Heads()[0].Seq
	if got := string(view(t, l, feed)); after == before || got != fmt.Sprint(before) {
		t.Errorf("with %d events, %d before views were deferred, they say %s", after, before, got)
	}
	closeLog(t, l)
	l = openCounting(t, b, b.InFolder(folder))
	if v := views(t, l); v != "" {
		t.Errorf("deferred views are of version %q after the log was opened again", v)
	}
	if err := l.DeferViews(); err != nil {
		t.Fatal(err)
	}
	if err := l.Rewrite("v1", countAgain); err != nil {
		t.Fatal(err)
	}
	if got := string(view(t, l, feed)); got != fmt.Sprint(after) || views(t, l) != "v1" {
		t.Errorf("after a rewrite of %d events the views say %s, version %q", after, got, views(t, l))
	}
	eventstest.SaveVisit(t, l)
	if got := string(view(t, l, feed)); got != fmt.Sprint(l.Heads()[0].Seq) {
		t.Errorf("after the rewrite nothing follows from %d events: the views say %s", l.Heads()[0].Seq, got)
	}
}

// unlinked is a disk without hard links, as sticks are: it says that it is not
// permitted.
type unlinked struct{ vfs.FS }

func (unlinked) Link(old, name string) error {
	return &os.LinkError{Op: "link", Old: old, New: name, Err: os.ErrPermission}
}

// Tables are copied where they can't be linked.
func TestTablesAreTakenInOnADiskWithoutLinks(t *testing.T) {
	b := eventstest.FoundShop(t, 133).Bench(t, 1)
	disk := vfs.NewCrashableMem()
	l := openCounting(t, b, b.Options(unlinked{disk}, "log"))
	l.WriteTables(true)
	eventstest.SaveVisit(t, l)
	if err := l.Rewrite("v1", func(bulk *eventlog.Bulk) error { return bulk.Put([]byte("view"), []byte("anew")) }); err != nil {
		t.Fatal(err)
	}
	if got := view(t, l, "view"); string(got) != "anew" {
		t.Errorf("the view is %q", got)
	}
	mustHaveVisit(t, l)
}

// Views that can't be taken in after the old ones went leave no handle that would
// show the next action alone.
func TestViewsThatAreNotTakenInEndTheHandle_P13(t *testing.T) {
	b := eventstest.FoundShop(t, 134).Bench(t, 1)
	disk := vfs.NewCrashableMem()
	var linking atomic.Bool // a table that is flushed from before is not what breaks here
	bad := broken{err: syscall.EIO, which: func(op errorfs.Op) bool {
		if op.Kind == errorfs.OpLink {
			linking.Store(true)
		}
		return linking.Load() && (op.Kind == errorfs.OpLink || op.Kind == errorfs.OpCreate && strings.HasSuffix(op.Path, ".sst"))
	}}
	l := openCounting(t, b, b.Options(bad.over(disk), "log"))
	eventstest.SaveVisit(t, l)
	feed := l.Heads()[0].Feed.String()
	if err := l.Rewrite("v1", countAgain); err != nil {
		t.Fatal(err)
	}
	bad.on.Store(true)
	err := l.Rewrite("v2", func(bulk *eventlog.Bulk) error { return bulk.Put([]byte("view"), []byte("anew")) })
	wantErr(t, err, eventlog.ErrDead)
	wantErr(t, l.Err(), eventlog.ErrDead)
	if got := view(t, l, feed); string(got) != "7" {
		t.Errorf("readers see %q", got)
	}
	bad.on.Store(false)
	again := eventstest.Open(t, b.Options(asFound(disk), "log"))
	if v := views(t, again); v != "" {
		t.Errorf("views are of version %q", v)
	}
	mustHaveVisit(t, again)
}

// What an action takes away is gone also where the action is written as tables, whose
// deletions the store must heed wherever it puts them.
func TestDeletionsWrittenAsTablesAreHeeded(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 133)
	change := func(text string, fn func(*eventlog.Tx)) {
		t.Helper()
		if err := l.Append(t.Context(), func(tx *eventlog.Tx) error { fn(tx); return nil }); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
	}
	change("put", func(tx *eventlog.Tx) { tx.Put([]byte("a"), []byte("1")); tx.PutMark([]byte("m"), []byte("1")) })
	if err := l.Flush(); err != nil {
		t.Fatal(err)
	}
	l.WriteTables(true)
	change("delete", func(tx *eventlog.Tx) { tx.Delete([]byte("a")); tx.PutMark([]byte("m"), nil) })
	if err := l.Compact(t); err != nil {
		t.Fatal(err)
	}
	change("publishes a view", func(tx *eventlog.Tx) {
		err := tx.Scan([]byte{0}, []byte{255}, func(k, _ []byte) (bool, error) { t.Errorf("an action finds %q", k); return true, nil })
		if m, failed := tx.Mark([]byte("m")); m != nil || err != nil || failed != nil {
			t.Errorf("an action finds the mark %q (%v, %v)", m, err, failed)
		}
		tx.PutMark([]byte("z"), nil)
	})
	viewOf(t, l, func(v *eventlog.View) error {
		a, err := v.Get([]byte("a"))
		m, failed := v.Mark([]byte("m"))
		if a != nil || m != nil {
			t.Errorf("the view is %q and the mark %q", a, m)
		}
		left := func(k, _ []byte) (bool, error) { t.Errorf("%q is there to who goes through all", k); return true, nil }
		return errors.Join(err, failed, v.Scan([]byte{0}, []byte{255}, left), v.Marks([]byte{0}, []byte{255}, left))
	})
}
