package eventlog_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
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

// A folder that the first versions wrote, one of each format of theirs, and what was in
// it. They were written once and are kept for ever: formatN.txt names each branch of
// each feed with its events' numbers and hashes.
const keptFormats = 2

// keptStore copies one into a folder of the test and gives the options to open it by.
func keptStore(t *testing.T, format int) (o eventlog.Options, want string) {
	t.Helper()
	from := filepath.Join("testdata", fmt.Sprintf("format%d", format))
	o = eventstest.FoundShop(t, 400).Bench(t, 1).Options(nil, filepath.Join(t.TempDir(), "log"))
	o.Create = false
	text, err := os.ReadFile(from + ".txt")
	if err := errors.Join(err, os.CopyFS(o.Dir, os.DirFS(from))); err != nil {
		t.Fatal(err)
	}
	return o, string(text)
}

// listOf lists a log as formatN.txt does, and gives its format.
func listOf(l *eventlog.Log) (list string, format byte, err error) {
	about, err := l.About()
	if err != nil {
		return "", 0, err
	}
	v, err := l.View()
	if err != nil {
		return "", 0, err
	}
	defer v.Close()
	var s strings.Builder
	_, err = v.Scrub(nil)
	for _, r := range l.Branches() {
		fmt.Fprintf(&s, "branch %s %s from %d to %d\n", r.Feed, r.Root, r.Base.Seq, r.Head.Seq)
		err = errors.Join(err, v.BranchEvents(r.Branch, 0, func(e events.Event) (bool, error) {
			fmt.Fprintf(&s, "%d %s\n", e.Seq, e.Hash)
			return true, nil
		}))
	}
	return s.String(), about.Format, err
}

// wantWhole checks that a log is of a format and holds what is wanted, and gives what it
// holds; anything is wanted where that is empty.
func wantWhole(t *testing.T, l *eventlog.Log, format byte, want string) string {
	t.Helper()
	got, f, err := listOf(l)
	if err != nil || f != format || want != "" && got != want {
		t.Fatalf("of format %d, want %d, it holds %s\nwant %s (%v)", f, format, got, want, err)
	}
	return got
}

func TestF27_StoresOfTheFirstFormatsAreReadAndGoneOnWith_P4(t *testing.T) {
	for format := 1; format <= keptFormats; format++ {
		t.Run(fmt.Sprint(format), func(t *testing.T) {
			o, want := keptStore(t, format)
			o.ReadOnly = true
			l := eventstest.Open(t, o)
			wantWhole(t, l, byte(format), want)
			closeLog(t, l)
			o.ReadOnly = false
			l = eventstest.Open(t, o)
			wantWhole(t, l, byte(format), want)
			eventstest.SaveNotes(t, l, unit, "gone on", 20)
			want = wantWhole(t, l, byte(format), "")
			old, err := l.View()
			if err != nil {
				t.Fatal(err)
			}
			if err := l.Rewrite("v", countAgain); err != nil {
				t.Fatal(err)
			}
			if evs, err := old.Events(unit); err != nil || len(evs) < 20 {
				t.Errorf("a view from before gives %d events (%v)", len(evs), err)
			}
			wantWhole(t, l, eventlog.StoreFormat, want)
			old.Close()
			closeLog(t, l)
			l = eventstest.Open(t, o)
			wantWhole(t, l, eventlog.StoreFormat, want)
			eventstest.SaveNotes(t, l, unit, "later", 20)
			wantWhole(t, l, eventlog.StoreFormat, "")
		})
	}
}

// olderStore is a store of the first format on a disk in memory, with actions and the
// branches of another bench's feed.
func olderStore(t *testing.T, seed uint64) (disk *vfs.MemFS, b *eventstest.Bench, a *acks) {
	t.Helper()
	shop := eventstest.FoundShop(t, seed)
	b, disk, a = shop.Bench(t, 1), vfs.NewCrashableMem(), &acks{}
	l := eventstest.Open(t, eventlog.Older(eventlog.Tiny(b.Options(disk, "log"))))
	for i := range 7 {
		if err := a.save(l, long(fmt.Sprintf("a%d", i))); err != nil {
			t.Fatal(err)
		}
	}
	trunk, second, third := tree(t, shop)
	takeRuns(t, l, trunk, second, third, onwardsFrom(t, shop, third, 20))
	wantWhole(t, l, 2, "")
	closeLog(t, l)
	return disk, b, a
}

// A crash at any operation of the disk while a store is brought over leaves it wholly
// in the one form or in the other, with every event, and the next time brings it over.
func TestF01_CrashWhileAStoreIsBroughtOver_P1_P3(t *testing.T) {
	disk, b, a := olderStore(t, 170)
	before := eventstest.Open(t, eventlog.Tiny(b.Options(asFound(disk), "log")))
	want := wantWhole(t, before, 2, "")
	closeLog(t, before)
	var formats [eventlog.StoreFormat + 1]atomic.Int32
	out := make(chan crash, 64)
	done := make(chan struct{})
	check := func(c crash) error {
		l, err := eventlog.Open(eventlog.Tiny(b.Options(c.disk, "log")))
		if err != nil {
			return fmt.Errorf("open: %w", err)
		}
		defer l.Close()
		got, format, err := listOf(l)
		if err != nil || got != want {
			return fmt.Errorf("of format %d it holds %s\nwant %s (%w)", format, got, want, err)
		}
		formats[format].Add(1)
		if err := l.Rewrite("v", countAgain); err != nil {
			return err
		}
		if got, format, err = listOf(l); err != nil || got != want || format != eventlog.StoreFormat {
			return fmt.Errorf("the next time: of format %d it holds %s\nwant %s (%w)", format, got, want, err)
		}
		more := acks{made: a.list()}
		if err := more.save(l, "after the crash"); err != nil {
			return err
		}
		_, _, err = listOf(l)
		return err
	}
	go func() {
		defer close(done)
		for c := range out {
			if err := check(c); err != nil {
				t.Errorf("crash before operation %d (%s) with %d %% of what was not synced: %v", c.at, c.op, c.percent, err)
			}
		}
	}()
	ops, err := sweep(disk, 170, a, out, func(fs vfs.FS) error {
		l, err := eventlog.Open(eventlog.Tiny(b.Options(fs, "log")))
		if err != nil {
			return err
		}
		return errors.Join(l.Rewrite("v", countAgain), l.Close())
	})
	close(out)
	<-done
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d crash points; %d of the old form, %d of this", ops, formats[2].Load(), formats[eventlog.StoreFormat].Load())
	if formats[2].Load() < 20 || formats[eventlog.StoreFormat].Load() < 20 {
		t.Error("too few of one of the forms to mean anything")
	}
}

// A disk that is full while a store is brought over, or a file of which can't be
// synced, leaves it as it was, and it works; the next time brings it over.
func TestF07_NoRoomToBringAStoreOverLeavesItAsItWas_P13(t *testing.T) {
	for _, kind := range []errorfs.OpKind{errorfs.OpMkdirAll, errorfs.OpCreate, errorfs.OpFileWrite, errorfs.OpFileSync} {
		t.Run(fmt.Sprint(kind), func(t *testing.T) {
			disk, b, a := olderStore(t, 171)
			bad := broken{err: syscall.ENOSPC, which: func(op errorfs.Op) bool { return strings.Contains(op.Path, "making") && op.Kind == kind }}
			var said []string
			o := eventlog.Tiny(b.Options(bad.over(disk), "log"))
			o.Warn = func(text string) { said = append(said, text) }
			l := eventstest.Open(t, o)
			want := wantWhole(t, l, 2, "")
			bad.on.Store(true)
			if err := l.Rewrite("v", func(b *eventlog.Bulk) error { bad.on.Store(false); return countAgain(b) }); err != nil {
				t.Fatal(err)
			}
			if len(said) != 1 || !strings.Contains(said[0], "form of an older version") || !strings.Contains(said[0], "disk is full") {
				t.Errorf("said %q", said)
			}
			wantWhole(t, l, 2, want)
			if err := a.save(l, "goes on"); err != nil {
				t.Fatal(err)
			}
			want = wantWhole(t, l, 2, "")
			if err := l.Rewrite("v", countAgain); err != nil {
				t.Fatal(err)
			}
			wantWhole(t, l, eventlog.StoreFormat, want)
		})
	}
}

// A damaged store is not brought over: it opens, says what is damaged, gives what is
// not, and takes what comes.
func TestF04_ADamagedStoreKeepsItsForm(t *testing.T) {
	disk, b, a := olderStore(t, 172)
	var said []string
	o := eventlog.Tiny(b.Options(disk, "log"))
	o.Warn = func(text string) { said = append(said, text) }
	l := eventstest.Open(t, o)
	feed := eventstest.All(t, l)[0].Feed
	spoil(t, l, 5, -1)
	if err := l.Rewrite("v", func(*eventlog.Bulk) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if len(said) != 1 || !strings.Contains(said[0], "at 5: hash is") {
		t.Errorf("said %q", said)
	}
	wantErr(t, l.Rewrite("v", countAgain), eventlog.ErrDamaged)
	_, format, err := listOf(l)
	if wantErr(t, err, eventlog.ErrDamaged); format != 2 {
		t.Errorf("it is of format %d", format)
	}
	if err := a.save(l, "goes on"); err != nil {
		t.Fatal(err)
	}
	for after, want := range map[uint64]int{0: 4, 5: 17} {
		var got int
		viewOf(t, l, func(v *eventlog.View) error {
			err := v.Feed(feed, after, func(events.Event) (bool, error) { got++; return true, nil })
			if after == 0 {
				wantErr(t, err, eventlog.ErrDamaged)
				return nil
			}
			return err
		})
		if got != want {
			t.Errorf("behind %d: %d events, want %d", after, got, want)
		}
	}
}
