package eventlog_test

import (
	"errors"
	"fmt"
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

// unreadable is a disk of which one reading of a table fails: the next but so many,
// once it is set.
type unreadable struct {
	left atomic.Int64 // readings that go well before; below zero none fails
	hit  atomic.Bool
}

func newUnreadable() *unreadable {
	u := &unreadable{}
	u.left.Store(-1)
	return u
}

func (u *unreadable) over(disk vfs.FS) vfs.FS {
	return errorfs.Wrap(disk, errorfs.InjectorFunc(func(op errorfs.Op) error {
		reads := op.Kind == errorfs.OpFileReadAt || op.Kind == errorfs.OpFileRead
		if !reads || !strings.HasSuffix(op.Path, ".sst") || u.left.Load() < 0 || u.left.Add(-1) >= 0 {
			return nil
		}
		u.hit.Store(true)
		return syscall.EIO
	}))
}

// failing has the n-th reading from here on fail, and reports whether fn came to it.
func (u *unreadable) failing(n int64, fn func() error) (came bool, err error) {
	u.hit.Store(false)
	u.left.Store(n)
	err = fn()
	u.left.Store(-1)
	return u.hit.Load(), err
}

// treeInTables is treeOnDisk with all of it in tables, so that what is asked is read
// from the disk.
func treeInTables(t *testing.T) (*vfs.MemFS, *eventstest.Bench) {
	t.Helper()
	disk, b, _, _ := treeOnDisk(t)
	l := eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
	err := l.Append(bg, func(tx *eventlog.Tx) error {
		tx.Put([]byte("pa"), []byte("1"))
		tx.Put([]byte("pb"), []byte("2"))
		_, err := tx.Next("tags")
		return err
	})
	if err := errors.Join(err, l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	return disk, b
}

// more reports that a scan goes on.
func more([]byte, []byte) (bool, error) { return true, nil }

// questions are all that can be asked of a log, each with what it answers.
var questions = map[string]func(l *eventlog.Log, v *eventlog.View) (any, error){
	"scrub":                             func(_ *eventlog.Log, v *eventlog.View) (any, error) { return v.Scrub(nil) },
	"scrub on":                          scrubOn,
	"subject":                           func(_ *eventlog.Log, v *eventlog.View) (any, error) { return count(v.Events(unit)) },
	"subject, with what does not count": func(_ *eventlog.Log, v *eventlog.View) (any, error) { return count(v.AllEvents(unit)) },
	"subjects, in an action": func(l *eventlog.Log, _ *eventlog.View) (n any, err error) {
		err = l.Append(bg, func(tx *eventlog.Tx) error {
			evs, err := tx.EventsOf([][16]byte{unit})
			n = len(evs[0])
			return err
		})
		return n, err
	},
	"event": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		_, ok, err := v.Event(unit, events.EventID{1})
		return ok, err
	},
	"branches": func(l *eventlog.Log, v *eventlog.View) (any, error) {
		n := 0
		for _, r := range l.Branches() {
			after := r.Base.Seq + 2 // in its middle
			if err := v.BranchEvents(r.Branch, after, func(events.Event) (bool, error) { n++; return true, nil }); err != nil {
				return n, err
			}
		}
		return n, nil
	},
	"finding": func(l *eventlog.Log, v *eventlog.View) (any, error) {
		var found []eventlog.Branch
		for _, r := range l.Branches() {
			b, _, err := v.Find(r.Head)
			if err != nil {
				return nil, err
			}
			if _, err := v.Along(1, r.Head); err != nil {
				return nil, err
			}
			found = append(found, b)
		}
		return len(found), nil
	},
	"runs": func(l *eventlog.Log, v *eventlog.View) (any, error) {
		n := 0
		for _, r := range l.Branches() {
			evs, _, err := v.BranchRun(r.Branch, 0)
			if err != nil {
				return n, err
			}
			n += len(evs)
		}
		return n, nil
	},
	"what counts": func(_ *eventlog.Log, v *eventlog.View) (any, error) { return count(v.CountedHeads()) },
	"proofs":      func(l *eventlog.Log, _ *eventlog.View) (any, error) { return count(l.Proven()) },
	"heads":       func(_ *eventlog.Log, v *eventlog.View) (any, error) { return count(v.Heads()) },
	"signed":      func(l *eventlog.Log, _ *eventlog.View) (any, error) { return count(l.SignedHeads()) },
	"hash": func(l *eventlog.Log, v *eventlog.View) (any, error) {
		h, ok, err := v.HashAt(l.Heads()[0].Feed, 2)
		return [2]any{h, ok}, err
	},
	"each": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		n := 0
		err := v.Each(func(events.Event) error { n++; return nil })
		return n, err
	},
	"keyring": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		n := 0
		err := v.PersonKeys(func(events.PersonID, events.PersonKey) error { n++; return nil })
		return n, err
	},
	"a person": func(_ *eventlog.Log, v *eventlog.View) (any, error) { return v.PersonKey(events.PersonID{1}) },
	"persons, in an action": func(l *eventlog.Log, _ *eventlog.View) (n any, err error) {
		err = l.Append(bg, func(tx *eventlog.Tx) error {
			here, err := tx.Persons([]events.PersonID{{1}, {2}})
			n = len(here)
			return err
		})
		return n, err
	},
	"mark": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		b, err := v.Mark([]byte("m"))
		return string(b), err
	},
	"no mark": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		b, err := v.Mark([]byte("a"))
		return b == nil, err
	},
	"marks": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		return nil, v.Marks([]byte{0}, []byte{255}, more)
	},
	"view": func(_ *eventlog.Log, v *eventlog.View) (any, error) {
		b, err := v.Get([]byte("pa"))
		return string(b), err
	},
	"views":       func(_ *eventlog.Log, v *eventlog.View) (any, error) { return nil, v.Scan([]byte{0}, []byte{255}, more) },
	"leaps":       leaps,
	"version":     func(l *eventlog.Log, _ *eventlog.View) (any, error) { return l.Views() },
	"about":       func(l *eventlog.Log, _ *eventlog.View) (any, error) { return l.About() },
	"a blind one": func(_ *eventlog.Log, v *eventlog.View) (any, error) { return count(v.Blind().Events(unit)) },
}

func count[T any](list []T, err error) (any, error) { return len(list), err }

func scrubOn(_ *eventlog.Log, v *eventlog.View) (any, error) {
	var sum eventlog.Scrubbed
	at, over := eventlog.ScrubPlace{}, false
	for !over {
		var s eventlog.Scrubbed
		var err error
		if s, at, over, err = v.ScrubOn(at, 7); err != nil {
			return sum, err
		}
		sum.Events, sum.Feeds = sum.Events+s.Events, sum.Feeds+s.Feeds
	}
	return sum, nil
}

func leaps(_ *eventlog.Log, v *eventlog.View) (any, error) {
	n := 0
	err := v.Leap([]byte{0}, []byte{255}, func(k, _ []byte) ([]byte, error) { n++; return k, nil })
	return n, err
}

// A reading of the disk fails, whichever it is: who asked hears of it and gets no
// answer that leaves something out, and whoever asks again gets what there is. The
// handle goes on: that a disk can't be read says nothing of what was written.
func TestF04_EachReadingCanFailAndIsSaid_P13(t *testing.T) {
	disk, b := treeInTables(t)
	u := newUnreadable()
	l := eventstest.Open(t, eventlog.Cold(b.Options(u.over(disk), "log")))
	for name, ask := range questions {
		viewOf(t, l, func(v *eventlog.View) error {
			want, err := ask(l, v)
			if err != nil {
				t.Errorf("%s: %v", name, err)
				return nil
			}
			n := int64(0)
			for ; ; n++ {
				came, err := u.failing(n, func() (err error) { _, err = ask(l, v); return err })
				if !came {
					if err != nil {
						t.Errorf("%s: %v", name, err)
					}
					break
				}
				if !errors.Is(err, syscall.EIO) {
					t.Errorf("%s: reading %d failed, and it says %v", name, n, err)
				}
				if got, err := ask(l, v); err != nil || got != want {
					t.Errorf("%s: asked again it gives %v (%v), want %v", name, got, err, want)
				}
			}
			if n == 0 {
				t.Errorf("%s: nothing is read from the disk", name)
			}
			return nil
		})
	}
	if err := l.Err(); err != nil {
		t.Errorf("the handle is dead: %v", err)
	}
}

// asBefore says what of a log is not as a store had it.
func asBefore(l *eventlog.Log, want map[events.Hash]bool) error {
	v, err := l.View()
	if err != nil {
		return err
	}
	defer v.Close()
	have := map[events.Hash]bool{}
	if err := eachOf(l, v, func(e events.Event) { have[e.Hash] = true }); err != nil {
		return err
	}
	if len(have) != len(want) {
		return fmt.Errorf("%d events, want %d", len(have), len(want))
	}
	for h := range want {
		if !have[h] {
			return fmt.Errorf("event %s is gone", h.Short())
		}
	}
	return nil
}

// hashesOf are all events of a log.
func hashesOf(t *testing.T, l *eventlog.Log) map[events.Hash]bool {
	t.Helper()
	all := map[events.Hash]bool{}
	viewOf(t, l, func(v *eventlog.View) error {
		return eachOf(l, v, func(e events.Event) { all[e.Hash] = true })
	})
	return all
}

// Opening fails at one reading, whichever it is: it says so, or the log is read, and
// nothing is missing either way once the disk is well.
func TestF04_EachReadingOfAnOpeningCanFail_P1_P13(t *testing.T) {
	disk, b := treeInTables(t)
	want := hashesOf(t, openedOnce(t, b, clone(disk)))
	u := newUnreadable()
	o := eventlog.Cold(b.Options(u.over(disk), "log"))
	o.ReadOnly = true // so that each opening finds the same
	for n := int64(0); ; n++ {
		var l *eventlog.Log
		came, err := u.failing(n, func() (err error) { l, err = eventlog.Open(o); return err })
		if err == nil {
			if err := errors.Join(asBefore(l, want), l.Close()); err != nil {
				t.Errorf("reading %d: %v", n, err)
			}
		} else if !errors.Is(err, syscall.EIO) {
			t.Errorf("reading %d failed, and opening says %v", n, err)
		}
		if !came {
			if err != nil || n < 5 {
				t.Errorf("%d readings, and then %v", n, err)
			}
			return
		}
	}
}

// openedOnce opens a store on a well disk.
func openedOnce(t *testing.T, b *eventstest.Bench, disk vfs.FS) *eventlog.Log {
	t.Helper()
	return eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
}
