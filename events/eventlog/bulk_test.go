package eventlog_test

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// What does not fit into memory goes into files, each its own, that are gone when they
// are closed and, closed or not, when the rewrite is over.
func TestScratchFilesAreGoneAfterwards(t *testing.T) {
	disk := vfs.NewCrashableMem()
	l := eventstest.Open(t, eventstest.FoundShop(t, 520).Bench(t, 1).Options(disk, "log"))
	files := func() int {
		list, err := disk.List("log/making")
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
		return len(list)
	}
	err := l.Rewrite("v", func(b *eventlog.Bulk) error {
		one, err := b.Scratch()
		if err != nil {
			return err
		}
		two, err := b.Scratch()
		if err != nil {
			return err
		}
		_, first := one.Write([]byte("one"))
		_, second := two.Write([]byte("two"))
		for f, want := range map[eventlog.ScratchFile]string{one: "one", two: "two"} {
			got := make([]byte, 3)
			if _, err := f.ReadAt(got, 0); err != nil && !errors.Is(err, io.EOF) || string(got) != want {
				t.Errorf("read %q, want %q (%v)", got, want, err)
			}
		}
		err = errors.Join(first, second, one.Close())
		if n := files(); n != 1 {
			t.Errorf("%d files when one of two is closed", n)
		}
		return errors.Join(err, b.Put([]byte("view"), []byte("1")))
	})
	if err != nil || files() != 0 || string(view(t, l, "view")) != "1" {
		t.Errorf("%d files are left, and the view is %q (%v)", files(), view(t, l, "view"), err)
	}
}

// A file for which there is no room, and a key that names no view, end the rewrite and
// not the handle.
func TestF07_NoRoomForAScratchFileEndsTheRewrite_P13(t *testing.T) {
	full := broken{err: syscall.ENOSPC, which: func(op errorfs.Op) bool { return takesRoom(op) && strings.Contains(op.Path, "making") }}
	l := eventstest.Open(t, eventstest.FoundShop(t, 521).Bench(t, 1).Options(full.over(vfs.NewCrashableMem()), "log"))
	full.on.Store(true)
	wantErr(t, l.Rewrite("v", func(b *eventlog.Bulk) error { _, err := b.Scratch(); return err }), syscall.ENOSPC)
	full.on.Store(false)
	err := l.Rewrite("v", func(b *eventlog.Bulk) error { return b.Put(nil, []byte("1")) })
	if err == nil || !strings.Contains(err.Error(), "a view without a key") {
		t.Errorf("it says %v", err)
	}
	if v := views(t, l); v != "" || l.Err() != nil {
		t.Errorf("views are of version %q (%v)", v, l.Err())
	}
	if err := l.Rewrite("v", func(b *eventlog.Bulk) error { return b.Put([]byte("k"), nil) }); err != nil || views(t, l) != "v" {
		t.Error(err)
	}
}

// Events are read for views with their hashes, those behind a cut left out, by a
// rewrite and by a view alike.
func TestRecordsAreThoseOfTheEventsThatCount_P12(t *testing.T) {
	shop := eventstest.FoundShop(t, 522)
	trunk, second, _ := tree(t, shop)
	l := receiver(t, shop)
	takeRuns(t, l, trunk, second)
	eventstest.SaveNotes(t, l, unit, "own", 70)
	if err := l.SetCuts(map[eventlog.Branch]uint64{eventlog.First(trunk.head.Feed): 7}, false); err != nil {
		t.Fatal(err)
	}
	want := map[events.Hash][]byte{}
	for _, e := range append(trunk.evs[:7:7], second.evs...) {
		want[e.Hash] = e.Record
	}
	viewOf(t, l, func(v *eventlog.View) error {
		for _, h := range l.Heads() {
			if h.Feed != trunk.head.Feed {
				for _, e := range eventstest.Feed(t, v, h.Feed) {
					want[e.Hash] = e.Record
				}
			}
		}
		return nil
	})
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(3))
	for _, most := range []int{0, 1, 2, 3, 5} {
		viewOf(t, l, func(v *eventlog.View) error { return checkRecords(t, "a view", most, want, v.Records) })
		if err := l.Rewrite("v", func(b *eventlog.Bulk) error { return checkRecords(t, "a rewrite", most, want, b.Records) }); err != nil {
			t.Fatal(err)
		}
	}
}

// reading gives all records in parts.
type reading func(most int, fn func(part int, h events.Hash, record []byte) error) error

// checkRecords demands each record once, in parts that are numbered from nought on, and
// that reading ends with an error, which is said as it is.
func checkRecords(t *testing.T, how string, most int, want map[events.Hash][]byte, records reading) error {
	t.Helper()
	var mu sync.Mutex
	seen, parts := map[events.Hash]int{}, map[int]bool{}
	err := records(most, func(part int, h events.Hash, record []byte) error {
		mu.Lock()
		defer mu.Unlock()
		if parts[part] = true; !bytes.Equal(want[h], record) {
			t.Errorf("%s: event %s has another record", how, h.Short())
		}
		seen[h]++
		return nil
	})
	for h := range want {
		if seen[h] != 1 {
			t.Errorf("%s in %d parts: event %s is given %d times", how, most, h.Short(), seen[h])
		}
	}
	for part := range parts {
		if part < 0 || part >= max(1, most) {
			t.Errorf("%s: a part %d of %d", how, part, most)
		}
	}
	if most > 1 && len(parts) < 2 {
		t.Errorf("%s: all is in one part of %d", how, most)
	}
	n := 0
	stopped := records(most, func(int, events.Hash, []byte) error {
		mu.Lock()
		defer mu.Unlock()
		n++
		return errTurnedBack
	})
	if n == 0 || n > max(1, most) || !errors.Is(stopped, errTurnedBack) || errors.Is(stopped, eventlog.ErrDamaged) {
		t.Errorf("%s: went on to %d events, and says %v", how, n, stopped)
	}
	return err
}

// A record that makes no sense under a hash that is right for it, as a hand or a slip
// may have left them: whoever reads it hears which event it is, and gets none.
func TestF04_ARecordOfNoSenseUnderARightHashIsNamed(t *testing.T) {
	disk, b, _ := olderStore(t, 523) // each event of it keeps its hash
	l := eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
	row := func(seq uint64) []byte { return l.GetRaw(t, eventRow(0, seq)) }
	var end events.Head // of the first feed, which is the bench's own
	for _, h := range l.Heads() {
		if h.Feed.Bench == l.Bench() {
			end = h
		}
	}
	feed := end.Feed
	record := []byte("no record")
	bad := events.Head{Feed: feed, Seq: end.Seq}
	bad.Hash = events.HashEvent(feed, end.Seq, events.Hash(row(end.Seq - 1)[:32]), record)
	k, v := l.FindRaw(t, 'f')
	copy(v[len(v)-32:], bad.Hash[:])
	if err := errors.Join(l.SetRaw(eventRow(0, end.Seq), append(bad.Hash[:], record...)), l.SetRaw(k, v)); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	l = eventstest.Open(t, eventlog.Tiny(b.Options(disk, "log")))
	read := func(_ int, _ events.Hash, record []byte) error { _, _, err := events.DecodeRecord(record); return err }
	asks := map[string]func(*eventlog.View) error{
		"each":    func(v *eventlog.View) error { return v.Each(func(events.Event) error { return nil }) },
		"records": func(v *eventlog.View) error { return v.Records(2, read) },
		"scrub":   func(v *eventlog.View) error { _, err := v.Scrub(nil); return err },
		"feed":    feedAfter(feed, 0),
	}
	for how, ask := range asks {
		err := asked(t, l, ask)
		if wantErr(t, err, eventlog.ErrDamaged); !errors.Is(err, events.ErrMalformed) || !strings.Contains(err.Error(), feed.Short()) {
			t.Errorf("%s: it says %v", how, err)
		}
	}
	wantErr(t, l.Rewrite("v", func(b *eventlog.Bulk) error { return b.Records(2, read) }), eventlog.ErrDamaged)
}

// Rows of the keyring are read by how a person's id begins, so that many can be gone
// through in parts; the parts are all there is, the last too.
func TestPersonsAreReadByHowTheirIDsBegin(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 524)
	all := []events.PersonID{{0}, {0, 1}, {1}, {7, 255}, {254, 255}, {255}, {255, 255, 255}}
	err := l.Append(bg, func(tx *eventlog.Tx) (err error) {
		for _, p := range all {
			err = errors.Join(err, tx.PutPersonKey(p, events.PersonKey{1}))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	viewOf(t, l, func(v *eventlog.View) (err error) {
		var read []events.PersonID
		for b := range 256 {
			err = errors.Join(err, v.PersonsBeginning(byte(b), func(e events.KeyEntry) (bool, error) {
				if int(e.Person[0]) != b {
					t.Errorf("%x is given for those that begin with %x", e.Person, b)
				}
				read = append(read, e.Person)
				return true, nil
			}))
		}
		if len(read) != len(all) {
			t.Errorf("%d persons, want %d", len(read), len(all))
		}
		return err
	})
}
