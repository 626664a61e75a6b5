package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// A store is brought over only where there is known to be room for its events twice
// beside what must stay free.
func TestF07_AStoreIsNotBroughtOverWithoutRoomForItTwice_P13(t *testing.T) {
	disk, b, a := olderStore(t, 510)
	var mu sync.Mutex
	var said []string
	on := &narrow{roomy: roomy{FS: disk}}
	const least, much = 1 << 20, 1 << 40
	on.free.Store(much)
	o := eventlog.Tiny(b.Options(on, "log"))
	o.LeastFree, o.Warn = least, func(text string) { mu.Lock(); defer mu.Unlock(); said = append(said, text) }
	l := eventstest.Open(t, o)
	if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	want := wantWhole(t, l, 2, "")
	stays := func(why string) {
		t.Helper()
		if err := l.Rewrite("v", countAgain); err != nil {
			t.Fatal(err)
		}
		wantWhole(t, l, 2, want)
		mu.Lock()
		defer mu.Unlock()
		said = slices.DeleteFunc(said, func(text string) bool { return !strings.Contains(text, "form of an older version") })
		if len(said) != 1 || !strings.Contains(said[0], why) {
			t.Errorf("said %q, want %q in it", said, why)
		}
		said = nil
	}
	on.free.Store(least + 100) // the events are more than that, twice
	stays("not enough room on the disk to hold the events twice")
	silent := error(syscall.EIO)
	on.err.Store(&silent)
	stays("the disk does not work")
	on.err.Store(nil)
	on.free.Store(much)
	if err := l.Rewrite("v", countAgain); err != nil {
		t.Fatal(err)
	}
	wantWhole(t, l, eventlog.StoreFormat, want)
	mustAcked(t, l, a)
}

// mustAcked checks that all that was acked is there.
func mustAcked(t *testing.T, l *eventlog.Log, a *acks) {
	t.Helper()
	have := map[string]bool{}
	for _, e := range eventstest.All(t, l) {
		have[e.ID.String()] = true
	}
	for _, action := range a.list() {
		for _, id := range action.ids {
			if !have[id.String()] {
				t.Errorf("event %s of the acked action %.10q is gone", id, action.text)
			}
		}
	}
}

// The tables of a store that is brought over can't be taken in: whether they were is
// not known, so the handle dies, and the next opening finds the store wholly in one of
// the forms.
func TestF06_AStoresTablesThatAreNotTakenInEndTheHandle_P1_P2(t *testing.T) {
	disk, b, _ := olderStore(t, 511)
	bad := noTakingIn()
	l := eventstest.Open(t, eventlog.Tiny(b.Options(bad.over(disk), "log")))
	want := wantWhole(t, l, 2, "")
	bad.on.Store(true)
	wantErr(t, l.Rewrite("v", countAgain), eventlog.ErrDead)
	wantErr(t, l.Err(), syscall.EIO)
	closeLog(t, l)
	again := eventstest.Open(t, eventlog.Tiny(b.Options(asFound(disk), "log")))
	wantWhole(t, again, 2, want)
	if err := again.Rewrite("v", countAgain); err != nil {
		t.Fatal(err)
	}
	wantWhole(t, again, eventlog.StoreFormat, want)
}

// Whichever file of a store that is brought over can't be made or synced, it stays as
// it was and works.
func TestF08_WhicheverTableOfAStoreCanNotBeMade_P13(t *testing.T) {
	disk, b, _ := olderStore(t, 512)
	for n := int64(1); ; n++ {
		bad := nthFails(n, syscall.EIO, createOrSync...)
		var said []string
		o := eventlog.Tiny(b.Options(bad.over(clone(disk)), "log"))
		o.Warn = func(text string) { said = append(said, text) }
		l := eventstest.Open(t, o)
		want := wantWhole(t, l, 2, "")
		bad.on.Store(true)
		err := l.Rewrite("v", func(b *eventlog.Bulk) error { bad.on.Store(false); return countAgain(b) })
		if err != nil {
			t.Fatalf("operation %d: %v", n, err)
		}
		if bad.hits.Load() == 0 {
			if n < 5 { // two tables, each made and synced
				t.Errorf("only %d operations", n-1)
			}
			wantWhole(t, l, eventlog.StoreFormat, want)
			return
		}
		wantWhole(t, l, 2, want)
		if len(said) != 1 || !strings.Contains(said[0], "the disk does not work") {
			t.Errorf("operation %d: said %q", n, said)
		}
		closeLog(t, l)
	}
}

// A reading fails while a store is brought over, whichever it is: the store stays as it
// was or is brought over, nothing of it is missing, and who asked for the views hears
// where those could not be made.
func TestF04_EachReadingOfAStoreBroughtOverCanFail_P1_P13(t *testing.T) {
	disk, b, _ := olderStore(t, 513)
	l := eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
	if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	want := wantWhole(t, l, 2, "")
	closeLog(t, l)
	for n := int64(0); ; n++ {
		u, on, said := newUnreadable(), clone(disk), 0
		o := eventlog.Cold(impatient(b.Options(&roomyOver{u.over(on)}, "log")))
		o.LeastFree, o.Warn = 1, func(string) { said++ }
		l := eventstest.Open(t, o)
		came, err := u.failing(n, func() error { return l.Rewrite("v", countAgain) })
		if !came {
			if err != nil || n < 5 {
				t.Errorf("%d readings, and then %v", n, err)
			}
			wantWhole(t, l, eventlog.StoreFormat, want)
			return
		}
		if err != nil && !errors.Is(err, syscall.EIO) {
			t.Fatalf("reading %d failed, and it says %v", n, err)
		}
		if l.Err() != nil {
			_ = l.Close()
			l = eventstest.Open(t, eventlog.Cold(b.Options(asFound(on), "log")))
		}
		got, format, failed := listOf(l)
		if failed != nil || got != want {
			t.Fatalf("reading %d failed, and then it holds %s\nwant %s (%v)", n, got, want, failed)
		}
		if format == 2 && err == nil && said == 0 {
			t.Errorf("reading %d failed, the store is in the old form, and nobody says so", n)
		}
		closeLog(t, l)
	}
}

// roomyOver is a disk with much room.
type roomyOver struct{ vfs.FS }

func (roomyOver) GetDiskUsage(string) (vfs.DiskUsage, error) {
	return vfs.DiskUsage{AvailBytes: 1 << 40, TotalBytes: 1 << 40}, nil
}

// Unwrap is for the engine's own look at the file system below.
func (r *roomyOver) Unwrap() vfs.FS { return r.FS }

// Damage is met while a store is brought over: the handle dies of it as of any, nothing
// is written over, and the store that is put right is whole.
func TestF04_DamageInATableOfAStoreBroughtOverEndsTheHandle(t *testing.T) {
	disk, b, _ := olderStore(t, 515)
	l := eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
	for i := range uint64(60) { // so many that opening does not read their blocks
		eventstest.SaveNotes(t, l, unit, fmt.Sprintf("%x", noise(t, i, 1000)), 1)
	}
	if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	want := wantWhole(t, l, 2, "")
	closeLog(t, l)
	s := specimen{bench: b, disk: disk}
	died := 0
	for _, name := range s.files(t, func(name string) bool { return strings.HasSuffix(name, ".sst") }) {
		whole := readFile(t, disk, name)
		for at := 40; at < len(whole); at += max(1, len(whole)/15) {
			damaged := bytes.Clone(whole)
			damaged[at] ^= 0x10
			on := clone(disk)
			writeFile(t, on, name, damaged)
			l, err := eventlog.Open(eventlog.Cold(b.Options(on, "log")))
			if err == nil {
				if err = l.Rewrite("v", countAgain); err != nil {
					died++
				}
				_ = l.Close()
			}
			if err != nil && !errors.Is(err, eventlog.ErrDamaged) {
				t.Errorf("byte %d of %s: it says %v", at, name, err)
			}
			if err == nil {
				continue // nobody reads that byte
			}
			writeFile(t, on, name, bytes.Clone(whole)) // a disk in memory may keep what it is given
			l = eventstest.Open(t, eventlog.Tiny(b.Options(asFound(on), "log")))
			wantWhole(t, l, 2, want)
			closeLog(t, l)
		}
	}
	if died < 3 {
		t.Errorf("only %d flips were met while the store was brought over", died)
	}
}
