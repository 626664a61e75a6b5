package eventlog_test

import (
	"os"
	"path/filepath"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/events/sharedtest"
)

// laptop is a store in a folder that is copied and put back.
type laptop struct {
	t      *testing.T
	bench  *eventstest.Bench
	folder string
	boot   string
	log    *eventlog.Log
}

func newLaptop(t *testing.T, seed uint64) *laptop {
	return &laptop{t: t, bench: eventstest.FoundShop(t, seed).Bench(t, 1), folder: t.TempDir(), boot: "first start"}
}

func (p *laptop) open() *eventlog.Log {
	p.t.Helper()
	o := eventlog.Tiny(p.bench.InFolder(p.folder))
	o.Boot = p.boot
	p.log = eventstest.Open(p.t, o)
	return p.log
}

// backUp copies the store, which must be closed, and gives the copy's place.
func (p *laptop) backUp() string {
	p.t.Helper()
	dir := p.t.TempDir()
	copyFolder(p.t, filepath.Join(p.folder, "log"), dir)
	return dir
}

// putBack makes the store what it was when a copy was made. The witness stays.
func (p *laptop) putBack(from string) {
	p.t.Helper()
	store := filepath.Join(p.folder, "log")
	if err := os.RemoveAll(store); err != nil {
		p.t.Fatal(err)
	}
	copyFolder(p.t, from, store)
}

func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	if err := os.MkdirAll(to, 0o700); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		b, err := os.ReadFile(filepath.Join(from, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(to, f.Name()), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func (p *laptop) note(text string) events.Event {
	p.t.Helper()
	id := eventstest.SaveNotes(p.t, p.log, unit, text, 1)[0]
	for _, e := range eventstest.All(p.t, p.log) {
		if e.ID == id {
			return e
		}
	}
	p.t.Fatalf("note %q was saved and is not there", text)
	return events.Event{}
}

// begun is the first event of a feed.
func (p *laptop) begun(f events.FeedID) events.FeedBegun {
	p.t.Helper()
	v, err := p.log.View()
	if err != nil {
		p.t.Fatal(err)
	}
	defer v.Close()
	b, err := eventstest.Feed(p.t, v, f)[0].Body()
	if err != nil {
		p.t.Fatal(err)
	}
	return b.(events.FeedBegun)
}

func TestF10_SameStartAndSameWitnessGoOnWithTheFeed(t *testing.T) {
	p := newLaptop(t, 80)
	p.open()
	first := p.note("a")
	if b := p.begun(first.Feed); b.Parent != (events.Head{}) || b.Shop != p.bench.Shop.ID {
		t.Errorf("the first feed begins with %+v", b)
	}
	for i := range 3 {
		closeLog(t, p.log)
		p.open()
		if e := p.note("b"); e.Feed != first.Feed || e.Seq != first.Seq+uint64(i)+1 {
			t.Errorf("reopened: event %d of feed %s", e.Seq, e.Feed.Short())
		}
	}
}

func TestF10_AnotherStartBeginsAFeedThatNamesTheLast(t *testing.T) {
	for name, change := range map[string]func(*laptop){
		"started again":      func(p *laptop) { p.boot = "second start" },
		"no start is known":  func(p *laptop) { p.boot = "" },
		"no witness is left": func(p *laptop) { p.witness(func(string) []byte { return nil }) },
		"torn witness":       func(p *laptop) { p.witness(func(s string) []byte { return []byte(s[:len(s)/2]) }) },
		"changed witness":    func(p *laptop) { p.witness(func(s string) []byte { return []byte(s[:40] + "x" + s[41:]) }) },
	} {
		t.Run(name, func(t *testing.T) {
			p := newLaptop(t, 81)
			p.open()
			last := p.note("a")
			closeLog(t, p.log)
			change(p)
			p.open()
			e := p.note("b")
			if e.Feed == last.Feed || e.Seq != 2 {
				t.Fatalf("event %d of feed %s follows %d of %s", e.Seq, e.Feed.Short(), last.Seq, last.Feed.Short())
			}
			if b := p.begun(e.Feed); b.Parent != last.Head() {
				t.Errorf("the parent is %+v, want %+v", b.Parent, last.Head())
			}
			if e2 := p.note("c"); e2.Feed != e.Feed {
				t.Error("a second write begins another feed")
			}
		})
	}
}

// witness rewrites the witness file; nil takes it away.
func (p *laptop) witness(change func(string) []byte) {
	p.t.Helper()
	path := filepath.Join(p.folder, "witness")
	old, err := os.ReadFile(path)
	if err != nil {
		p.t.Fatal(err)
	}
	if b := change(string(old)); b != nil {
		err = os.WriteFile(path, b, 0o600)
	} else {
		err = os.Remove(path)
	}
	if err != nil {
		p.t.Fatal(err)
	}
}

func TestF10_PutBackToAnOlderCopyWritesABranch_P6(t *testing.T) {
	p := newLaptop(t, 82)
	p.open()
	old := p.note("a")
	closeLog(t, p.log)
	backup := p.backUp()
	p.open()
	lost := p.note("b")
	closeLog(t, p.log)
	p.putBack(backup)
	p.open()
	if got := p.log.Found().LostTail; got == nil || *got != (eventlog.LostTail{Have: old.Seq, Had: lost.Seq}) {
		t.Errorf("found %+v", got)
	}
	e := p.note("c")
	if e.Feed == lost.Feed {
		t.Errorf("event %d was written on the feed that had %d", e.Seq, lost.Seq)
	}
	if b := p.begun(e.Feed); b.Parent != old.Head() {
		t.Errorf("the parent is %+v, want the head of the copy", b.Parent)
	}
	// The lost event comes back from whoever has it, and lies beside the branch.
	head, err := p.bench.Key.SignHead(p.bench.Shop.ID, lost.Head())
	if err != nil {
		t.Fatal(err)
	}
	if err := p.log.Receive(t.Context(), []events.Event{lost}, []events.SignedHead{head}); err != nil {
		t.Fatal(err)
	}
	if e2 := p.note("d"); e2.Feed != e.Feed {
		t.Error("fetching the lost event back ended the new feed")
	}
	mustBe(t, p.log, 2)
}

// mustBe checks the chains and the number of feeds.
func mustBe(t *testing.T, l *eventlog.Log, feeds int) {
	t.Helper()
	evs, err := readAll(l)
	if err == nil {
		err = chained(evs)
	}
	if err != nil || len(l.Heads()) != feeds {
		t.Errorf("%d feeds, want %d (%v)", len(l.Heads()), feeds, err)
	}
}

// A copy from before this bench's first write has nothing of its own to
// compare; the witness alone knows of the other life.
func TestF10_PutBackToBeforeTheFirstWriteIsNoticed(t *testing.T) {
	p := newLaptop(t, 83)
	p.open()
	closeLog(t, p.log)
	empty := p.backUp()
	p.open()
	lost := p.note("a")
	given := next(t, p.log, "tag")
	closeLog(t, p.log)
	p.putBack(empty)
	p.open()
	if got := p.log.Found().LostTail; got == nil || *got != (eventlog.LostTail{Have: 0, Had: lost.Seq}) {
		t.Errorf("found %+v", got)
	}
	if again := next(t, p.log, "tag"); again <= given+50 {
		t.Errorf("tag %d is given after %d in the other life", again, given)
	}
}

// The witness that did not match must not match a copy that is put back later:
// what was written in between by the first life is out of its sight.
func TestF10_WitnessVouchesForOneLifeOnly_P6(t *testing.T) {
	p := newLaptop(t, 84)
	p.open()
	p.note("a")
	closeLog(t, p.log)
	atA, witnessA := p.backUp(), p.read("witness")
	p.open()
	b1 := p.note("b")
	closeLog(t, p.log)
	// The machine stopped between the commit and the witness.
	p.witness(func(string) []byte { return witnessA })
	p.open() // and this opening shows event b to others
	closeLog(t, p.log)
	p.putBack(atA)
	p.open()
	if e := p.note("c"); e.Feed == b1.Feed && e.Seq == b1.Seq {
		t.Errorf("two events are number %d of one feed", e.Seq)
	}
}

func (p *laptop) read(name string) []byte {
	p.t.Helper()
	b, err := os.ReadFile(filepath.Join(p.folder, name))
	if err != nil {
		p.t.Fatal(err)
	}
	return b
}

// Where the witness can't be written a feed is not gone on with: the witness
// that is left would vouch for an older copy.
func TestF10_FeedIsLeftWhenItsWitnessCanNotBeWritten_P6(t *testing.T) {
	p := newLaptop(t, 85)
	p.open()
	last := p.note("a")
	closeLog(t, p.log)
	path := filepath.Join(p.folder, "witness")
	const unwritable = "/proc/version" // can be read, and written by nobody
	if _, err := os.Stat(unwritable); err != nil {
		sharedtest.Skip(t, "this system has no file that even its administrator can't write")
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(unwritable, path); err != nil {
		t.Fatal(err)
	}
	p.open()
	first, second := p.note("b"), p.note("c")
	if first.Feed == last.Feed || second.Feed == first.Feed {
		t.Errorf("feeds %s, %s, %s", last.Feed.Short(), first.Feed.Short(), second.Feed.Short())
	}
}

func TestF10_CountersJumpPastTheOtherLife(t *testing.T) {
	for _, witness := range []string{"kept", "lost"} {
		t.Run("witness "+witness, func(t *testing.T) {
			p := newLaptop(t, 86)
			p.open()
			p.note("a")
			wantNext(t, p.log, 1)
			wantNext(t, p.log, 2)
			closeLog(t, p.log)
			backup := p.backUp()
			p.open()
			for want := uint32(3); want < 10; want++ {
				wantNext(t, p.log, want)
			}
			p.note("b")
			if n := next(t, p.log, "label"); n != 1 {
				t.Errorf("label %d", n)
			}
			closeLog(t, p.log)
			p.putBack(backup)
			if witness == "lost" {
				p.witness(func(string) []byte { return nil })
			}
			p.open()
			p.note("c") // no number is taken in the first action, and yet:
			n := next(t, p.log, "tag")
			if n < 100 || n > 1003 {
				t.Errorf("next tag is %d", n)
			}
			if n := next(t, p.log, "label"); n < 100 {
				t.Errorf("the next number of a counter the copy did not have is %d", n)
			}
			wantNext(t, p.log, n+1) // one jump is enough
			closeLog(t, p.log)
			p.open()
			wantNext(t, p.log, n+2)
		})
	}
}

func filePath(p *laptop, name string) string { return filepath.Join(p.folder, name) }

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, b, 0o600); err != nil {
		t.Fatal(err)
	}
}
