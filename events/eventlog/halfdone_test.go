package eventlog_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// changes are all that can be done to a log that treeInTables made, each with how
// many events it adds.
func changes(t *testing.T) map[string]struct {
	do   func(*eventlog.Log) error
	adds int
} {
	t.Helper()
	shop := eventstest.FoundShop(t, 77)
	own := shop.Bench(t, 1)
	from, b := bench2(t, shop)
	second := onwards(t, b, from.evs[4], "second", 4)
	on := onwards(t, b, from.evs[len(from.evs)-1], "on", 3)
	behindSecond := onwards(t, b, second.evs[3], "behind second", 2)
	fourth := onwards(t, b, from.evs[6], "fourth", 3)
	return map[string]struct {
		do   func(*eventlog.Log) error
		adds int
	}{
		"an action": {func(l *eventlog.Log) error { return l.Append(bg, everyReading) }, 3},
		"a run":     {func(l *eventlog.Log) error { return l.Receive(bg, on.evs, []events.SignedHead{on.head}) }, 3},
		"a run in one with what is here": {func(l *eventlog.Log) error {
			return l.Receive(bg, append(from.evs[:len(from.evs):len(from.evs)], on.evs...), []events.SignedHead{on.head})
		}, 3},
		"a branch's run": {func(l *eventlog.Log) error {
			return l.Receive(bg, behindSecond.evs, []events.SignedHead{behindSecond.head})
		}, 2},
		"a branch": {func(l *eventlog.Log) error {
			return l.ReceiveBranch(bg, fourth.evs, []events.SignedHead{fourth.head}, nil)
		}, 3},
		"a head of its own": {func(l *eventlog.Log) error {
			for _, h := range l.Heads() {
				if h.Feed.Bench == l.Bench() {
					signed, err := own.Key.SignHead(shop.ID, h)
					return errors.Join(err, l.Receive(bg, nil, []events.SignedHead{signed}))
				}
			}
			return errors.New("no feed of its own")
		}, 0},
		"cuts": {func(l *eventlog.Log) error {
			return l.SetCuts(map[eventlog.Branch]uint64{eventlog.First(from.head.Feed): 3}, false)
		}, 0},
		"views anew": {func(l *eventlog.Log) error { return l.Rewrite("2", countAgain) }, 0},
		"deferring":  {func(l *eventlog.Log) error { return l.DeferViews() }, 0},
		"scouring":   {func(l *eventlog.Log) error { return l.Scour(bg) }, 0},
	}
}

// everyReading is an action that reads all it can before it writes.
func everyReading(tx *eventlog.Tx) error {
	_, person := tx.PersonKey(events.PersonID{1})
	if errors.Is(person, events.ErrForgotten) {
		return person
	}
	_, mark := tx.Mark([]byte("m"))
	_, pair := tx.Get([]byte("pa"))
	tx.Put([]byte("pab"), []byte("between"))
	tx.Delete([]byte("pb"))
	seen := ""
	keep := func(k, _ []byte) (bool, error) { seen += string(k) + " "; return true, nil }
	scanned := tx.Scan([]byte("p"), []byte("q"), keep)
	leapt := tx.Leap([]byte("p"), []byte("q"), func(k, v []byte) ([]byte, error) { _, err := keep(k, v); return k, err })
	_, listed := tx.Events(unit)
	_, next := tx.Next("tags")
	_, free := tx.NextFree("other tags", func(n uint32) (bool, error) { return n < 4, nil })
	kept := tx.PutPersonKey(events.PersonID{9}, events.PersonKey{9})
	_, added := eventstest.AddNotes(tx, unit, "half", 2)
	err := errors.Join(person, mark, pair, scanned, leapt, listed, next, free, kept, added)
	if err == nil && seen != "pa pab pa pab " {
		err = fmt.Errorf("views through the action are %q", seen)
	}
	return err
}

// A reading of the disk fails while the log is changed, whichever it is: who asked for
// it hears of it, and nothing of the change is there, on the handle that goes on or,
// where that is dead, on the next. Then it can be done again.
func TestF04_AChangeWhoseReadingFailsIsNotHalfDone_P2_P3(t *testing.T) {
	disk, b := treeInTables(t)
	whole := openedOnce(t, b, clone(disk))
	before, beside := hashesOf(t, whole), besides(t, whole)
	for name, c := range changes(t) {
		t.Run(name, func(t *testing.T) {
			for n := int64(0); ; n++ {
				u, on := newUnreadable(), clone(disk)
				l := eventstest.Open(t, eventlog.Cold(impatient(b.Options(u.over(on), "log"))))
				came, err := u.failing(n, func() error { return c.do(l) })
				if !came {
					if err != nil || len(hashesOf(t, l)) != len(before)+c.adds {
						t.Errorf("it gives %v, and then %d events, want %d more than %d", err, len(hashesOf(t, l)), c.adds, len(before))
					}
					t.Logf("%d readings", n)
					return
				}
				if err == nil {
					continue // what was read was no part of the answer
				}
				if !errors.Is(err, syscall.EIO) {
					t.Fatalf("reading %d failed, and it says %v", n, err)
				}
				if l.Err() != nil {
					_ = l.Close()
					l = eventstest.Open(t, eventlog.Cold(b.Options(asFound(on), "log")))
				}
				if err := asBefore(l, before); err != nil {
					t.Fatalf("reading %d failed, and then: %v", n, err)
				}
				if got := besides(t, l); got != beside && name != "views anew" { // those are made of nothing
					t.Fatalf("reading %d failed, and beside the events there is\n%s\nwant\n%s", n, got, beside)
				}
				if err := c.do(l); err != nil {
					t.Fatalf("reading %d failed, and again: %v", n, err)
				}
				if got := len(hashesOf(t, l)); got != len(before)+c.adds {
					t.Fatalf("reading %d failed, and done again there are %d events, want %d more than %d", n, got, c.adds, len(before))
				}
				closeLog(t, l)
			}
		})
	}
}

func clone(disk *vfs.MemFS) *vfs.MemFS {
	return disk.CrashClone(vfs.CrashCloneCfg{RNG: rand.New(rand.NewPCG(1, 1))})
}

// besides are the views, the marks, the keyring and the cuts of a log, as text.
func besides(t *testing.T, l *eventlog.Log) string {
	t.Helper()
	var s strings.Builder
	row := func(k, v []byte) (bool, error) { fmt.Fprintf(&s, "%q %x\n", k, v); return true, nil }
	viewOf(t, l, func(v *eventlog.View) error {
		views := v.Scan([]byte{0}, []byte{255}, row)
		marks := v.Marks([]byte{0}, []byte{255}, row)
		persons := v.Persons(func(e events.KeyEntry) (bool, error) { fmt.Fprintf(&s, "%x\n", e); return true, nil })
		return errors.Join(views, marks, persons)
	})
	fmt.Fprintf(&s, "%v", l.Cuts())
	return s.String()
}
