package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// specimen is a store on a disk in memory, with the witness of its last event,
// from which damaged copies are made.
type specimen struct {
	bench   *eventstest.Bench
	disk    *vfs.MemFS
	witness []byte
	acked   []action
	evs     []events.Event
}

// newSpecimen makes a store of some actions. It is closed first, or left as a
// killed process leaves it: with everything in the write-ahead log.
func newSpecimen(t *testing.T, closed bool) specimen {
	t.Helper()
	b := eventstest.FoundShop(t, 70).Bench(t, 1)
	s := specimen{bench: b, disk: vfs.NewCrashableMem()}
	path := filepath.Join(t.TempDir(), "witness")
	o := eventlog.Tiny(b.Options(s.disk, "log"))
	o.Witness, o.Boot = path, "boot"
	l := eventstest.Open(t, o)
	var a acks
	for i := range 6 {
		if err := a.save(l, long(fmt.Sprintf("a%d", i))); err != nil {
			t.Fatal(err)
		}
	}
	s.acked, s.evs = a.list(), eventstest.All(t, l)
	if closed {
		if err := l.Flush(); err != nil {
			t.Fatal(err)
		}
		closeLog(t, l)
	}
	var err error
	if s.witness, err = os.ReadFile(path); err != nil {
		t.Fatal(err)
	}
	s.disk = s.copy()
	return s
}

func (s specimen) copy() *vfs.MemFS {
	return s.disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 100, RNG: rand.New(rand.NewPCG(1, 1))})
}

// options open a copy, with a copy of the witness beside it.
func (s specimen) options(t *testing.T, disk vfs.FS) eventlog.Options {
	t.Helper()
	o := eventlog.Tiny(impatient(s.bench.Options(disk, "log")))
	o.Witness, o.Boot = filepath.Join(t.TempDir(), "witness"), "boot"
	if err := os.WriteFile(o.Witness, s.witness, 0o600); err != nil {
		t.Fatal(err)
	}
	return o
}

// files are the names of the store's files with an ending or beginning.
func (s specimen) files(t *testing.T, match func(string) bool) (names []string) {
	t.Helper()
	all, err := s.disk.List("log")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range all {
		if match(name) {
			names = append(names, s.disk.PathJoin("log", name))
		}
	}
	slices.Sort(names)
	return names
}

func readFile(t *testing.T, disk vfs.FS, name string) []byte {
	t.Helper()
	f, err := disk.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeFile(t *testing.T, disk vfs.FS, name string, b []byte) {
	t.Helper()
	f, err := disk.Create(name, vfs.WriteCategoryUnspecified)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		t.Fatal(err)
	}
}

func endsInLog(name string) bool { return strings.HasSuffix(name, ".log") }

// The end of the write-ahead log is cut off or the whole of it is gone. The
// engine opens such a store without a word; the log must say what it lost, and
// must not give the lost numbers to other events.
func TestF03_LostTailIsNoticedAndItsNumbersAreNotUsedAgain_P6(t *testing.T) {
	s := newSpecimen(t, false)
	wal := s.files(t, endsInLog)
	name := wal[len(wal)-1]
	whole := readFile(t, s.disk, name)
	step := 97
	if testing.Short() {
		step = 997
	}
	lost := 0
	for size := 0; size < len(whole); size += step {
		disk := s.copy()
		writeFile(t, disk, name, whole[:size])
		if s.tailCut(t, disk, fmt.Sprintf("%d of %d bytes", size, len(whole))) {
			lost++
		}
	}
	disk := s.copy()
	for _, name := range wal {
		if err := disk.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
	if !s.tailCut(t, disk, "write-ahead log deleted") {
		t.Error("nothing was lost with the write-ahead log")
	}
	if lost < 3 {
		t.Errorf("only %d cuts lost anything", lost)
	}
	o := s.options(t, disk)
	o.Create = false
	o.Dir = "log"
	if l, err := eventlog.Open(o); err == nil && l.Found().LostTail == nil {
		t.Error("an emptied store opens as if nothing had been")
	}
}

// tailCut opens a store whose end may be missing, and reports whether it is.
func (s specimen) tailCut(t *testing.T, disk *vfs.MemFS, how string) (lost bool) {
	t.Helper()
	l, err := eventlog.Open(s.options(t, disk))
	if err != nil {
		return false // refused: nothing is served and nothing is written
	}
	defer l.Close()
	evs, err := readAll(l)
	if err != nil {
		t.Errorf("%s: %v", how, err)
		return false
	}
	if err := s.onlyTrue(evs); err != nil {
		t.Errorf("%s: %v", how, err)
	}
	had, have := uint64(len(s.evs)), uint64(len(evs))
	tail := l.Found().LostTail
	if (tail != nil) != (have < had) || tail != nil && *tail != (eventlog.LostTail{Have: have, Had: had}) {
		t.Errorf("%s: %d events of %d are here, found %+v", how, have, had, tail)
	}
	s.writesBeyond(t, l, evs, how)
	return have < had
}

// writesBeyond saves an action and checks where it stands.
func (s specimen) writesBeyond(t *testing.T, l *eventlog.Log, before []events.Event, how string) {
	t.Helper()
	var a acks
	if err := a.save(l, "after the loss"); err != nil {
		t.Errorf("%s: %v", how, err)
		return
	}
	evs, err := readAll(l)
	if err != nil {
		t.Errorf("%s: %v", how, err)
		return
	}
	fresh := evs[:0:0]
	for _, e := range evs {
		if e.Feed != s.evs[0].Feed || e.Seq > uint64(len(before)) {
			fresh = append(fresh, e)
		}
	}
	if len(before) == len(s.evs) {
		return // nothing was lost: the same feed may go on
	}
	begun, err := fresh[0].Body()
	if err != nil {
		t.Fatal(err)
	}
	parent := events.Head{}
	if len(before) > 0 {
		parent = before[len(before)-1].Head()
	}
	if b, ok := begun.(events.FeedBegun); !ok || b.Parent != parent || fresh[0].Feed == s.evs[0].Feed {
		t.Errorf("%s: the next write is %s of feed %s", how, fresh[0].Line(), fresh[0].Feed.Short())
	}
}

// onlyTrue checks that every event is one of the specimen's, as it was.
func (s specimen) onlyTrue(evs []events.Event) error {
	for i, e := range evs {
		if i >= len(s.evs) || e.Head() != s.evs[i].Head() || !bytes.Equal(e.Record, s.evs[i].Record) {
			return fmt.Errorf("event %d is not what was written", e.Seq)
		}
	}
	return nil
}
