package eventlog_test

import (
	"context"
	"errors"
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

// writings are all ways to change a log or to have a copy of it made.
var writings = map[string]func(l *eventlog.Log) error{
	"append":     func(l *eventlog.Log) error { var a acks; return a.save(l, "refused") },
	"receive":    func(l *eventlog.Log) error { return l.Receive(bg, nil, nil) },
	"cuts":       func(l *eventlog.Log) error { return l.SetCuts(nil, true) },
	"rewrite":    func(l *eventlog.Log) error { return l.Rewrite("9", func(*eventlog.Bulk) error { return nil }) },
	"defer":      func(l *eventlog.Log) error { return l.DeferViews() },
	"scour":      func(l *eventlog.Log) error { return l.Scour(bg) },
	"checkpoint": func(l *eventlog.Log) error { return l.Checkpoint("copy") },
}

// keyDropped makes a log in which something is to be scoured.
func keyDropped(t *testing.T, l *eventlog.Log) {
	t.Helper()
	eventstest.SaveVisit(t, l)
	err := l.Append(bg, func(tx *eventlog.Tx) error {
		return tx.KeepPerson(events.KeyEntry{Person: events.PersonID{1}, Order: events.ForgetOrder{1}})
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestAClosedLogRefusesAllAndSaysSo(t *testing.T) {
	l, _, disk := eventstest.OnMem(t, 400)
	keyDropped(t, l)
	closeLog(t, l)
	for name, write := range writings {
		t.Run(name, func(t *testing.T) { wantErr(t, write(l), eventlog.ErrClosed) })
	}
	_, err := l.About()
	wantErr(t, err, eventlog.ErrClosed)
	if _, err := disk.Stat("copy"); err == nil {
		t.Error("a copy of a closed log was begun")
	}
}

func TestADeadLogRefusesAllAndSaysSo_P2(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 401).Bench(t, 1)
	bad := broken{err: syscall.EIO, which: func(op errorfs.Op) bool { return isSync(op) && isWAL(op) }}
	l := eventstest.Open(t, b.Options(bad.over(disk), "log"))
	keyDropped(t, l)
	bad.on.Store(true)
	var a acks
	wantErr(t, a.save(l, "dies"), eventlog.ErrDead)
	for name, write := range writings {
		t.Run(name, func(t *testing.T) { wantErr(t, write(l), eventlog.ErrDead) })
	}
}

func TestALogOpenForReadingRefusesAllChangesAndSaysSo_P13(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 402)
	keyDropped(t, l)
	closeLog(t, l)
	o := b.Options(disk, "log")
	o.ReadOnly = true
	l = eventstest.Open(t, o)
	for name, write := range writings {
		t.Run(name, func(t *testing.T) { wantErr(t, write(l), eventlog.ErrReadOnly) })
	}
	about, err := l.About()
	if err != nil || about.Format != eventlog.StoreFormat || about.Last.IsZero() || about.Witness != "" || about.Ballast {
		t.Errorf("about is %+v (%v)", about, err)
	}
}

// What is asked for after its time is not begun.
func TestACancelledActionIsNotBegun(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 403)
	keyDropped(t, l)
	ctx, cancel := context.WithCancel(bg)
	cancel()
	err := l.Append(ctx, func(*eventlog.Tx) error { t.Error("an action was begun"); return nil })
	wantErr(t, err, context.Canceled)
	wantErr(t, l.Receive(ctx, nil, nil), context.Canceled)
	wantErr(t, l.Scour(ctx), context.Canceled)
	if l.Err() != nil {
		t.Fatal(l.Err())
	}
	if err := l.Scour(bg); err != nil { // it is still to be done
		t.Fatal(err)
	}
}

// A write that fails inside one of these, too, is the end of the handle: what is on
// disk is what the next opening finds.
func TestF06_AFailedSyncOfAnyWritingStopsTheLog_P2(t *testing.T) {
	for name := range writings {
		if name == "receive" {
			continue // nothing is written where nothing came
		}
		t.Run(name, func(t *testing.T) {
			disk := vfs.NewCrashableMem()
			b := eventstest.FoundShop(t, 404).Bench(t, 1)
			bad := broken{err: syscall.EIO, which: func(op errorfs.Op) bool { return isSync(op) && isWAL(op) }}
			l := eventstest.Open(t, impatient(b.Options(bad.over(disk), "log")))
			keyDropped(t, l)
			bad.on.Store(true)
			wantErr(t, writings[name](l), eventlog.ErrDead)
			wantErr(t, l.Err(), syscall.EIO)
			mustHaveVisit(t, l)
			bad.on.Store(false)
			again := eventstest.Open(t, b.Options(asFound(disk), "log"))
			if n := len(eventstest.All(t, again)); n != 7 && (name != "append" || n != 7+noteSize) {
				t.Errorf("%d events, want the 7 of before, or those and the action's", n)
			}
			if err := writings[name](again); err != nil && !errors.Is(err, eventlog.ErrReadOnly) { // a cut may have come to the disk, and retires the bench
				t.Error(err)
			}
		})
	}
}

// A copy is made beside a log that is read and written, and opens as what the log was.
func TestACheckpointIsTheLogAtThatMoment_P1(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 405)
	eventstest.SaveVisit(t, l)
	if err := l.Checkpoint("copy"); err != nil {
		t.Fatal(err)
	}
	var a acks
	if err := a.save(l, "later"); err != nil {
		t.Fatal(err)
	}
	o := b.Options(disk, "copy")
	o.Create = false
	mustHaveVisit(t, eventstest.Open(t, o))
	err := l.Checkpoint("copy")
	if err == nil || !strings.Contains(err.Error(), "copy the store to copy") {
		t.Errorf("over a copy that is there: %v", err)
	}
	mustHaveVisit(t, eventstest.Open(t, b.Options(asFound(disk), "copy")))
	if n := len(eventstest.All(t, l)); n != 7+noteSize {
		t.Errorf("%d events in the log itself", n)
	}
}

// A copy finds no room: it says so, and the log goes on.
func TestF07_NoRoomForACheckpointIsSaidAndStopsNothing_P13(t *testing.T) {
	full := broken{err: syscall.ENOSPC, which: func(op errorfs.Op) bool { return takesRoom(op) && strings.HasPrefix(op.Path, "copy") }}
	full.on.Store(true)
	l := eventstest.Open(t, eventstest.FoundShop(t, 406).Bench(t, 1).Options(full.over(vfs.NewCrashableMem()), "log"))
	eventstest.SaveVisit(t, l)
	err := l.Checkpoint("copy")
	wantErr(t, err, eventlog.ErrDiskFull)
	var a acks
	if err := a.save(l, "on"); err != nil || l.Err() != nil {
		t.Fatal(err, l.Err())
	}
}

// A projection that panics, or a projection's view that is written with one, ends the
// handle and not the program.
func TestAPanicInsideAWritingIsTheHandlesDeath(t *testing.T) {
	cause := errors.New("a slip of the programmer")
	for name, value := range map[string]any{"an error": cause, "a text": "a slip of the programmer"} {
		t.Run(name, func(t *testing.T) {
			l, b, disk := eventstest.OnMem(t, 407)
			eventstest.SaveVisit(t, l)
			err := l.Rewrite("1", func(*eventlog.Bulk) error { panic(value) })
			wantErr(t, err, eventlog.ErrDead)
			if !strings.Contains(err.Error(), cause.Error()) {
				t.Errorf("it says %v", err)
			}
			if _, isError := value.(error); isError {
				wantErr(t, err, cause)
			}
			mustHaveVisit(t, eventstest.Open(t, b.Options(asFound(disk), "log")))
		})
	}
}

// The disk does not answer while a view is given back, or a folder is opened: the
// handle dies, and nobody waits for ever.
func TestF06_AnOpeningThatGetsNoAnswerEnds_P2(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 408)
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	hold := make(chan struct{})
	defer close(hold)
	var once atomic.Bool
	o := b.Options(before(disk, func(op errorfs.Op) {
		if strings.Contains(op.Path, "MANIFEST") && once.CompareAndSwap(false, true) {
			<-hold
		}
	}), "log")
	o.Deadline = 1
	_, err := eventlog.Open(o)
	wantErr(t, err, eventlog.ErrDead)
	if !strings.Contains(err.Error(), "no answer from the disk") {
		t.Errorf("it says %v", err)
	}
}
