package eventlog_test

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/events/sharedtest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// What a log tells of itself follows what is there: its format, the witness and
// whether it is whole, the ballast, the last stamp.
func TestALogTellsOfItselfWhatIsThere(t *testing.T) {
	p := newLaptop(t, 420)
	p.open()
	about := func() eventlog.About {
		t.Helper()
		a, err := p.log.About()
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	path := filepath.Join(p.folder, "witness")
	if got := about(); got.Format != eventlog.StoreFormat || got.Witness != path || got.Witnessed || got.Ballast || !got.Last.IsZero() {
		t.Errorf("before the first event: %+v", got)
	}
	e := p.note("a")
	got := about()
	if !got.Witnessed || got.Last.UnixMilli() != e.ID.Stamp().Time().UnixMilli() {
		t.Errorf("after an event of %v: %+v", e.ID.Stamp().Time(), got)
	}
	if p.log.Bench() != e.Feed.Bench || p.log.Shop() != p.bench.Shop.ID {
		t.Errorf("it is bench %s of shop %s", p.log.Bench(), p.log.Shop())
	}
	if err := os.WriteFile(path, []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if about().Witnessed {
		t.Error("a torn witness counts as whole")
	}
	if err := os.WriteFile(filepath.Join(p.folder, "ballast"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if !about().Ballast {
		t.Error("the ballast is not seen")
	}
	if err := errors.Join(os.Remove(path), os.Mkdir(path, 0o700)); err != nil {
		t.Fatal(err)
	}
	_, err := p.log.About()
	wantErr(t, err, syscall.EISDIR)
}

// A start of the machine is told from another one by what Linux gives at each: random
// bytes as 8-4-4-4-12 hexadecimal digits (random(4), /proc/sys/kernel/random/boot_id).
func TestAStartOfTheMachineHasAName(t *testing.T) {
	boot := eventlog.BootID()
	if boot == "" {
		sharedtest.Skip(t, "this system does not tell of its starts")
	}
	if boot != eventlog.BootID() || strings.TrimSpace(boot) != boot {
		t.Errorf("the name is %q", boot)
	}
	if _, err := os.Stat("/proc/sys/kernel/random/boot_id"); err == nil && !regexp.MustCompile(`^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$`).MatchString(boot) {
		t.Errorf("the name is %q", boot)
	}
}

// A folder that is there for a witness, or a file where its folder should be: opening
// says which it can't read, and where it only can't be written a new feed is begun.
func TestF10_AWitnessThatIsNoFileIsSaid_P6(t *testing.T) {
	p := newLaptop(t, 421)
	p.open()
	last := p.note("a")
	closeLog(t, p.log)
	path := filepath.Join(p.folder, "witness")
	if err := errors.Join(os.Remove(path), os.Mkdir(path, 0o700)); err != nil {
		t.Fatal(err)
	}
	_, err := eventlog.Open(p.bench.InFolder(p.folder))
	wantErr(t, err, syscall.EISDIR)
	if !strings.Contains(err.Error(), "read the witness") {
		t.Errorf("it says %v", err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	mustBe(t, p.open(), 1)

	// The witness's folder can't be made, since a file has its name by then.
	closeLog(t, p.log)
	o := p.bench.InFolder(p.folder)
	var said []string
	o.Warn = func(s string) { said = append(said, s) }
	o.Witness = filepath.Join(p.folder, "deeper", "witness")
	p.log = eventstest.Open(t, o)
	if err := os.WriteFile(filepath.Dir(o.Witness), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	first, second := p.note("b"), p.note("c")
	if first.Feed == last.Feed || second.Feed == first.Feed {
		t.Errorf("feeds %s, %s, %s", last.Feed.Short(), first.Feed.Short(), second.Feed.Short())
	}
	if len(said) != 2 || !strings.Contains(said[0], "the witness file could not be written") {
		t.Errorf("said is %q", said)
	}
}

// A witness that is right and can't be written any more when the log is opened: the
// feed is left before anything is written.
func TestF10_AWitnessThatCanNotBeWrittenAtOpeningLeavesTheFeed_P6(t *testing.T) {
	dir := sharedtest.SmallDisk(t, "size=1m")
	p := newLaptop(t, 422)
	o := p.bench.InFolder(p.folder)
	o.Witness = filepath.Join(dir, "witness")
	p.log = eventstest.Open(t, o)
	last := p.note("a")
	closeLog(t, p.log)
	if err := sharedtest.MountTmpfs(dir, "remount,ro"); err != nil {
		t.Fatal(err)
	}
	var said []string
	o.Warn = func(s string) { said = append(said, s) }
	p.log = eventstest.Open(t, o)
	if len(said) != 1 || !strings.Contains(said[0], "the witness file could not be written") {
		t.Errorf("said is %q", said)
	}
	if e := p.note("b"); e.Feed == last.Feed {
		t.Error("the feed was gone on with")
	}
}

// What an older copy lost is found when it is only read as well, and nothing is noted.
func TestF10_WhatAnOlderCopyLostIsFoundByAReader_P9(t *testing.T) {
	p := newLaptop(t, 423)
	p.open()
	p.note("a")
	closeLog(t, p.log)
	backup := p.backUp()
	p.open()
	p.note("b")
	p.note("c")
	closeLog(t, p.log)
	p.putBack(backup)
	witness := p.read("witness")
	o := p.bench.InFolder(p.folder)
	o.Boot, o.ReadOnly = p.boot, true
	for range 2 {
		l := eventstest.Open(t, o)
		lost := l.Found().LostTail
		if lost == nil || lost.Had != lost.Have+2 {
			t.Fatalf("lost is %+v", lost)
		}
		if s := lost.String(); !strings.Contains(s, "saved 4 events before and has 2 of them") {
			t.Errorf("it says %q", s)
		}
		closeLog(t, l)
	}
	if string(p.read("witness")) != string(witness) {
		t.Error("the witness was written by a reader")
	}
}

// A folder that another bench wrote is no doubtful copy of this one's.
func TestAnotherBenchsFolderIsReadWithoutItsWitness(t *testing.T) {
	shop := eventstest.FoundShop(t, 424)
	folder := t.TempDir()
	l := eventstest.Open(t, shop.Bench(t, 1).InFolder(folder))
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	l = eventstest.Open(t, shop.Bench(t, 2).InFolder(folder))
	mustHaveVisit(t, l)
	if l.Found().LostTail != nil {
		t.Errorf("found %v", l.Found().LostTail)
	}
	var a acks
	if err := a.save(l, "of another bench"); err != nil {
		t.Fatal(err)
	}
	feeds := map[events.FeedID]bool{}
	for _, h := range l.Heads() {
		feeds[h.Feed] = true
	}
	if len(feeds) != 2 {
		t.Errorf("%d feeds, want one of each bench", len(feeds))
	}
}

// Without a source of its own a log draws from the machine's, and no two feeds share
// a name.
func TestNamesOfFeedsAreDrawnFromTheMachine_P6(t *testing.T) {
	seen := map[events.FeedID]bool{}
	for range 3 {
		o := eventstest.FoundShop(t, 425).Bench(t, 1).Options(vfs.NewMem(), "log")
		o.Random, o.Now, o.Bulk = nil, nil, true
		l := eventstest.Open(t, o)
		eventstest.SaveVisit(t, l)
		f := l.Heads()[0].Feed
		if seen[f] {
			t.Errorf("feed %s twice", f)
		}
		seen[f] = true
	}
}
