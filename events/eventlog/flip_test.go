package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// A bit turns over in any file of the store. Either something refuses, or all
// is there; a shorter log is one that says so.
func TestF04_FlippedBitIsNeverServed_P1(t *testing.T) {
	for _, closed := range []bool{true, false} {
		s := newSpecimen(t, closed)
		refused, intact, short := 0, 0, 0
		for _, name := range s.files(t, func(name string) bool { return name != "LOCK" }) {
			whole := readFile(t, s.disk, name)
			step := max(1, len(whole)*8/60)
			if testing.Short() {
				step *= 10
			}
			for bit := 3 % max(step, 1); bit < len(whole)*8; bit += step {
				damaged := bytes.Clone(whole)
				damaged[bit/8] ^= 1 << (bit % 8)
				disk := s.copy()
				writeFile(t, disk, name, damaged)
				switch what, err := s.opens(t, disk); {
				case err != nil:
					t.Errorf("%s, bit %d of %d: %v", name, bit, len(whole)*8, err)
				case what == "refused":
					refused++
				case what == "short":
					short++
				default:
					intact++
				}
			}
		}
		t.Logf("closed first: %v. Refused %d, intact %d, shorter and said so %d", closed, refused, intact, short)
		if refused+short < 10 || refused == 0 || !closed && short == 0 {
			t.Error("hardly any flip was noticed")
		}
	}
}

// opens says how a damaged store opens and reads.
func (s specimen) opens(t *testing.T, disk vfs.FS) (what string, err error) {
	t.Helper()
	l, err := eventlog.Open(s.options(t, disk))
	if err != nil {
		return "refused", nil
	}
	defer l.Close()
	evs, err := readAll(l)
	if err != nil {
		return "refused", nil
	}
	if err := s.onlyTrue(evs); err != nil {
		return "", err
	}
	if len(evs) == len(s.evs) {
		return "intact", nil
	}
	if l.Found().LostTail == nil {
		return "", fmt.Errorf("%d events of %d, and nobody says so", len(evs), len(s.evs))
	}
	return "short", nil
}

// A file of the store is gone.
func TestF04_LostFileIsNeverPassedOver_P1(t *testing.T) {
	for _, closed := range []bool{true, false} {
		s := newSpecimen(t, closed)
		for _, name := range s.files(t, func(name string) bool { return name != "LOCK" }) {
			disk := s.copy()
			if err := disk.Remove(name); err != nil {
				t.Fatal(err)
			}
			if what, err := s.opens(t, disk); err != nil || what == "intact" && strings.HasSuffix(name, ".sst") {
				t.Errorf("without %s the store opens %s: %v", name, what, err)
			}
		}
	}
}

// In a store that was only just made, too, damage in the middle of the
// write-ahead log is told from its end by what the log says was synced. That
// account stands in the next block of 32 KiB, so only damage in the last block
// or two can look like an end, and then the witness tells.
func TestF04_DamageInTheFirstLogIsNotTakenForItsEnd_P1(t *testing.T) {
	b := eventstest.FoundShop(t, 72).Bench(t, 1)
	disk := vfs.NewCrashableMem()
	l := eventstest.Open(t, b.Options(disk, "log"))
	var a acks
	for i := range 60 {
		if err := a.save(l, long(fmt.Sprintf("a%d", i))); err != nil {
			t.Fatal(err)
		}
	}
	s := specimen{bench: b, disk: asFound(disk)}
	wal := s.files(t, endsInLog)
	name := wal[len(wal)-1]
	whole := readFile(t, s.disk, name)
	for at := 100; at < len(whole)-2*32<<10; at += 5003 {
		damaged := bytes.Clone(whole)
		damaged[at] ^= 0x20
		copied := s.copy()
		writeFile(t, copied, name, damaged)
		l, err := eventlog.Open(b.Options(copied, "log"))
		if err == nil {
			t.Errorf("byte %d of %d changed: opens with %d events", at, len(whole), len(eventstest.All(t, l)))
			closeLog(t, l)
			continue
		}
		wantErr(t, err, eventlog.ErrDamaged)
	}
}

// A row that was changed under a right checksum, as by another program or a
// fault in memory, is caught by the hashes of its group, whichever reader comes to it.
// What comes before the group is served, and nothing of it.
func TestF04_ChangedRowIsRefusedByEveryReader_P1(t *testing.T) {
	for part, c := range map[string]struct {
		seq byte
		at  int
	}{"hash": {16, 5}, "record": {20, -1}, "record that keeps its hash": {32, -1}, "record in the last group": {34, -1}, "the first": {1, 4}, "the last": {37, 3}} {
		t.Run(part, func(t *testing.T) {
			l, _, _ := eventstest.OnMem(t, 71)
			var a acks
			for i := range 12 {
				if err := a.save(l, fmt.Sprintf("a%d", i)); err != nil {
					t.Fatal(err)
				}
			}
			mustSound(t, l, a.list())
			feed := l.Heads()[0]
			spoil(t, l, c.seq, c.at)
			var inAction error
			if err := l.Append(bg, func(tx *eventlog.Tx) error { // publishes a view
				_, inAction = tx.Events(unit)
				tx.PutMark([]byte("m"), []byte{1})
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			wantErr(t, inAction, eventlog.ErrDamaged)
			view, err := l.View()
			if err != nil {
				t.Fatal(err)
			}
			defer view.Close()
			_, err = view.Scrub(nil)
			wantErr(t, err, eventlog.ErrDamaged)
			_, err = view.Events(unit)
			wantErr(t, err, eventlog.ErrDamaged)
			wantErr(t, view.Each(func(events.Event) error { return nil }), eventlog.ErrDamaged)
			before := int(c.seq-1) / 16 * 16
			for after := range min(before+16, int(feed.Seq)) {
				served := 0
				err = view.Feed(feed.Feed, uint64(after), func(events.Event) (bool, error) { served++; return true, nil })
				if want := max(0, before-after); served != want || !errors.Is(err, eventlog.ErrDamaged) {
					t.Errorf("behind %d, %d events were served, want the %d before the group (%v)", after, served, want, err)
				}
			}
			if c.seq%16 != 0 {
				_, _, err = view.HashAt(feed.Feed, uint64(c.seq))
				wantErr(t, err, eventlog.ErrDamaged)
			}
		})
	}
}

// Damage is met by a compaction, on a goroutine of the engine.
func TestF05_DamageFoundInTheBackgroundStopsTheLogOnly(t *testing.T) {
	s := newSpecimen(t, true)
	for _, name := range s.files(t, func(name string) bool { return strings.HasSuffix(name, ".sst") }) {
		damaged := readFile(t, s.disk, name)
		damaged[40] ^= 0x10 // in the first block of data
		writeFile(t, s.disk, name, damaged)
	}
	l, err := eventlog.Open(s.options(t, s.disk))
	if err != nil {
		return // refused at once: just as well
	}
	compacted := make(chan error, 1)
	go func() { compacted <- l.Compact(t) }()
	select {
	case err := <-compacted:
		if err == nil && l.Err() == nil {
			t.Error("compacted damaged tables without a word")
		}
	case <-time.After(5 * time.Second):
	}
	var a acks
	if err := a.save(l, "later"); l.Err() != nil {
		wantErr(t, err, eventlog.ErrDead)
		wantErr(t, err, eventlog.ErrDamaged)
	}
	if _, err := readAll(l); err == nil {
		t.Error("damaged tables are read without an error")
	}
	closeLog(t, l)
}

// spoil flips a bit of an event of the first feed; a place below zero counts from the
// end.
func spoil(t *testing.T, l *eventlog.Log, seq byte, at int) {
	t.Helper()
	k, _ := l.FindRaw(t, 'e')
	k[len(k)-1] = seq
	v := l.GetRaw(t, k)
	if at < 0 {
		at += len(v)
	}
	v[at] ^= 1
	if err := l.SetRaw(k, v); err != nil {
		t.Fatal(err)
	}
}
