package eventlog_test

import (
	"errors"
	"fmt"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// everyReadingFails asks a view as often as it reads the disk, with one reading more
// that goes well before one fails: who asks hears of it, and asked again the view gives
// what it gave.
func everyReadingFails(t *testing.T, u *unreadable, v *eventlog.View, asks map[string]func(*eventlog.View) (string, error)) {
	t.Helper()
	for name, ask := range asks {
		want, err := ask(v)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for n := int64(0); ; n++ {
			came, err := u.failing(n, func() error { _, err := ask(v); return err })
			if !came {
				if err != nil || n == 0 {
					t.Errorf("%s: after %d readings it gives %v", name, n, err)
				}
				break
			}
			if !errors.Is(err, syscall.EIO) {
				t.Errorf("%s: reading %d failed, and it says %v", name, n, err)
			}
			if got, err := ask(v); err != nil || got != want {
				t.Errorf("%s: asked again it gives other than it gave (%v)", name, err)
			}
		}
	}
}

// What a view still holds of values that were written over since lies apart in the
// engine's tables: where that can't be read, whoever asked hears of it too.
func TestF04_EachReadingOfAnOlderViewCanFail_P13(t *testing.T) {
	u := newUnreadable()
	b := eventstest.FoundShop(t, 540).Bench(t, 1)
	l := eventstest.Open(t, eventlog.Cold(b.Options(u.over(vfs.NewCrashableMem()), "log")))
	write := func(seed uint64) {
		err := l.Append(bg, func(tx *eventlog.Tx) error {
			for i := range uint64(40) {
				tx.Put(fmt.Appendf(nil, "p%02d", i), noise(t, seed+i, 100))
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	write(0)
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	write(100)
	if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	everyReadingFails(t, u, v, map[string]func(*eventlog.View) (string, error){
		"scan": func(v *eventlog.View) (s string, err error) {
			err = v.Scan([]byte("p"), []byte("q"), func(k, v []byte) (bool, error) { s += fmt.Sprintf("%s %x ", k, v); return true, nil })
			return s, err
		},
		"leap": func(v *eventlog.View) (s string, err error) {
			err = v.Leap([]byte("p"), []byte("q"), func(k, v []byte) ([]byte, error) { s += fmt.Sprintf("%s %x ", k, v); return k, nil })
			return s, err
		},
		"get": func(v *eventlog.View) (string, error) {
			got, err := v.Get([]byte("p07"))
			return string(got), err
		},
	})
	if l.Err() != nil {
		t.Error(l.Err())
	}
}

// The same of a view of events from before their store was brought to its newest form.
func TestF04_EachReadingOfAViewFromBeforeAStoreWasBroughtOverCanFail_P13(t *testing.T) {
	disk, b, _ := olderStore(t, 541)
	u := newUnreadable()
	l := eventstest.Open(t, eventlog.Cold(b.Options(u.over(disk), "log")))
	if err := l.Flush(); err != nil {
		t.Fatal(err)
	}
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	if err := errors.Join(l.Rewrite("v", countAgain), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	after := func(seq uint64) func(*eventlog.View) (string, error) {
		return func(v *eventlog.View) (s string, err error) {
			for _, h := range l.Heads() {
				err = errors.Join(err, v.Feed(h.Feed, seq, func(e events.Event) (bool, error) { s += e.Hash.String(); return true, nil }))
			}
			return s, err
		}
	}
	everyReadingFails(t, u, v, map[string]func(*eventlog.View) (string, error){"whole": after(0), "behind the sixth": after(6)})
	if l.Err() != nil {
		t.Error(l.Err())
	}
}
