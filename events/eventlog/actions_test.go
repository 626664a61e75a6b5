package eventlog_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/events/hlc"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// eventually waits for what another goroutine does.
func eventually(t *testing.T, what string, so func() bool) {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); !so(); yield() {
		if time.Now().After(deadline) {
			t.Fatalf("never: %s", what)
		}
	}
}

// A slip in an action, or in a projection that follows it, is the end of the handle and
// not of the program; nothing of the action is there, nor of those that shared its commit.
func TestAPanicInsideAnActionIsTheHandlesDeath_P2_P3(t *testing.T) {
	for name, how := range map[string]func(tx *eventlog.Tx, slip *bool) error{
		"in the action":     func(*eventlog.Tx, *bool) error { panic("a slip of the programmer") },
		"in the projection": func(_ *eventlog.Tx, slip *bool) error { *slip = true; return nil },
	} {
		t.Run(name, func(t *testing.T) {
			slip := false
			b := eventstest.FoundShop(t, 480).Bench(t, 1)
			disk := vfs.NewCrashableMem()
			o := b.Options(disk, "log")
			o.Projector = projector(func(*eventlog.Tx, []events.Event) error {
				if slip {
					panic("a slip of the programmer")
				}
				return nil
			})
			l := eventstest.Open(t, o)
			var a acks
			if err := a.save(l, "before"); err != nil {
				t.Fatal(err)
			}
			err := l.Append(bg, func(tx *eventlog.Tx) error {
				_, err := eventstest.AddNotes(tx, unit, "with a slip", 2)
				return errors.Join(err, how(tx, &slip))
			})
			wantErr(t, err, eventlog.ErrDead)
			if !strings.Contains(err.Error(), "a slip of the programmer") {
				t.Errorf("it says %v", err)
			}
			wantErr(t, a.save(l, "later"), eventlog.ErrDead)
			mustSound(t, l, a.list())
			closeLog(t, l)
			mustSound(t, eventstest.Open(t, b.Options(asFound(disk), "log")), a.list())
		})
	}
}

// behindGate is a log whose first action is saved, and another under way to a disk that
// does not answer before the gate is opened.
func behindGate(t *testing.T, seed uint64) (g *gate, l *eventlog.Log, a *acks, under chan error) {
	t.Helper()
	g, a, under = &gate{}, &acks{}, make(chan error, 1)
	l = eventstest.Open(t, eventstest.FoundShop(t, seed).Bench(t, 1).Options(g.over(vfs.NewCrashableMem()), "log"))
	if err := a.save(l, "first"); err != nil {
		t.Fatal(err)
	}
	g.mu.Lock()
	go func() { under <- a.save(l, "under way") }()
	eventually(t, "the action is synced", func() bool { return g.waiting.Load() > 0 })
	return g, l, a, under
}

// Close waits for what is being saved; who only waits is told that the log is closed,
// and nothing of theirs is there.
func TestClosingAnswersWhoeverWaits_P2(t *testing.T) {
	g, l, a, under := behindGate(t, 481)
	errs := make(chan error, 3)
	for i := range cap(errs) {
		go func() { errs <- a.save(l, fmt.Sprintf("waits %d", i)) }()
	}
	eventually(t, "three wait", func() bool { return l.Waiting() == cap(errs) })
	closed := make(chan error, 1)
	go func() { closed <- l.Close() }()
	eventually(t, "the log takes nothing any more", l.Closing)
	select {
	case err := <-closed:
		t.Fatalf("closed while an action was being saved: %v", err)
	default:
	}
	g.mu.Unlock()
	if err := errors.Join(<-under, <-closed); err != nil {
		t.Error(err)
	}
	for range cap(errs) {
		wantErr(t, <-errs, eventlog.ErrClosed)
	}
	if n := len(a.list()); n != 2 {
		t.Errorf("%d actions were told to be saved", n)
	}
}

// What is done alone waits for the action under way, and has it before it.
func TestARewriteWaitsForTheActionUnderWay(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 482)
	hold, held, saved := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	go func() {
		saved <- l.Append(bg, func(tx *eventlog.Tx) error {
			close(held)
			<-hold
			_, err := eventstest.AddNotes(tx, unit, "under way", noteSize)
			return err
		})
	}()
	<-held
	seen, begun, rewritten := 0, make(chan struct{}), make(chan error, 1)
	go func() {
		rewritten <- l.Rewrite("v", func(b *eventlog.Bulk) error {
			close(begun)
			return b.Records(1, func(int, events.Hash, []byte) error { seen++; return nil })
		})
	}()
	select {
	case <-begun:
		t.Error("views are rewritten while an action is made")
	case <-time.After(50 * time.Millisecond): // too short only weakens the test
	}
	close(hold)
	if err := errors.Join(<-saved, <-rewritten); err != nil {
		t.Fatal(err)
	}
	if seen != 1+noteSize {
		t.Errorf("it reads %d events, want %d", seen, 1+noteSize)
	}
}

// Who waits for a commit hears of it, everyone who asked, and of one only that is on
// disk.
func TestChangedIsToldOfTheNextCommit_P2(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 483)
	first, second := l.Changed(), l.Changed()
	isTold := func(c <-chan struct{}) bool {
		select {
		case <-c:
			return true
		default:
			return false
		}
	}
	wantErr(t, l.Append(bg, func(*eventlog.Tx) error { return errTurnedBack }), errTurnedBack)
	if isTold(first) || isTold(second) {
		t.Error("told of an action that failed")
	}
	var a acks
	if err := a.save(l, "saved"); err != nil {
		t.Fatal(err)
	}
	if !isTold(first) || !isTold(second) {
		t.Error("not told of an action that was saved")
	}
	if isTold(l.Changed()) {
		t.Error("told of a commit of before")
	}
}

// What can't be an event is refused whole, and takes no number of the feed.
func TestAnActionWithWhatCanNotBeAnEventIsRefusedWhole_P3(t *testing.T) {
	sheet := events.TestSheetDefined{Name: "long"} // of checks that are each short enough
	for range 5 {
		sheet.Checks = append(sheet.Checks, events.Check{Label: "one", Conditions: strings.Repeat("x", events.MaxText)})
	}
	shop := eventstest.FoundShop(t, 484)
	for name, c := range map[string]struct {
		draft events.Draft
		want  error
	}{
		"too large":   {events.Draft{Body: sheet}, events.ErrTooLarge},
		"a beginning": {events.Draft{Body: events.FeedBegun{Shop: shop.ID}}, events.ErrLink},
	} {
		t.Run(name, func(t *testing.T) {
			l := eventstest.Open(t, shop.Bench(t, 1).Options(vfs.NewMem(), "log"))
			if err := c.draft.Validate(); err != nil {
				t.Fatal(err)
			}
			eventstest.SaveNotes(t, l, unit, "before", 1)
			err := l.Append(bg, func(tx *eventlog.Tx) error {
				_, first := eventstest.AddNotes(tx, unit, "with it", 1)
				_, err := tx.Add(c.draft)
				return errors.Join(first, err)
			})
			wantErr(t, err, c.want)
			eventstest.SaveNotes(t, l, unit, "after", 1)
			if evs := eventstest.All(t, l); len(evs) != 3 || evs[2].Seq != 3 {
				t.Errorf("%d events", len(evs))
			}
		})
	}
}

// wired is a note's body with something in it that has no bytes.
type wired struct {
	events.Note
	Wire chan int `cbor:"9,keyasint"`
}

// A body that has no bytes is refused where it is added, and so is its action.
func TestABodyWithoutBytesIsNotAdded_P3(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 492)
	eventstest.SaveNotes(t, l, unit, "before", 1)
	err := l.Append(bg, func(tx *eventlog.Tx) error {
		_, first := eventstest.AddNotes(tx, unit, "with it", 1)
		id, err := tx.Add(events.Draft{About: unit, Body: wired{Note: events.Note{Text: "hum"}}})
		if id != (events.EventID{}) {
			t.Errorf("it has the id %s", id)
		}
		return errors.Join(first, err)
	})
	if err == nil || !strings.Contains(err.Error(), "encode note: ") || len(eventstest.All(t, l)) != 2 || l.Err() != nil {
		t.Errorf("it says %v, and there are %d events (%v)", err, len(eventstest.All(t, l)), l.Err())
	}
}

// Without randomness no feed is begun, and the action that would have begun it is not
// there; it is begun once there is some.
func TestNoFeedIsBegunUnderANameThatCouldNotBeDrawn_P3_P6(t *testing.T) {
	b := eventstest.FoundShop(t, 485).Bench(t, 1)
	random := dry{Reader: b.Random}
	o := b.Options(vfs.NewMem(), "log")
	o.Random = &random
	l := eventstest.Open(t, o)
	runsDry := func(tx *eventlog.Tx) error {
		_, err := eventstest.AddNotes(tx, unit, "note", 1)
		random.on = true // the id of the note was drawn
		return err
	}
	err := l.Append(bg, runsDry)
	if wantErr(t, err, errDry); !strings.Contains(err.Error(), "begin a feed") {
		t.Errorf("it says %v", err)
	}
	if n := len(l.Heads()); n != 0 || l.Err() != nil {
		t.Fatalf("%d feeds (%v)", n, l.Err())
	}
	random.on = false
	eventstest.SaveNotes(t, l, unit, "note", 1)
	if n := len(eventstest.All(t, l)); n != 2 {
		t.Errorf("%d events", n)
	}
}

// As above where the folder may be an old copy: then no counter can jump, and without
// that nothing is written.
func TestF10_NothingIsWrittenWhereCountersCanNotJump_P6(t *testing.T) {
	random := dry{}
	p := doubtfulCopy(t, 486, &random)
	before := len(eventstest.All(t, p.log))
	err := p.log.Append(bg, func(tx *eventlog.Tx) error {
		_, err := eventstest.AddNotes(tx, unit, "note", 1)
		random.on = true
		return err
	})
	if wantErr(t, err, errDry); !strings.Contains(err.Error(), "draw a number") {
		t.Errorf("it says %v", err)
	}
	random.on = false
	p.note("with numbers")
	if n := len(eventstest.All(t, p.log)); n != before+2 {
		t.Errorf("%d events, want two more than %d", n, before)
	}
	if n := next(t, p.log, "tag"); n < 102 {
		t.Errorf("then it gives %d", n)
	}
}

// A program whose name is no word begins no feed: that could be read by nobody.
func TestAFeedIsNotBegunUnderANameThatIsNoWord(t *testing.T) {
	o := eventstest.FoundShop(t, 487).Bench(t, 1).Options(vfs.NewMem(), "log")
	o.Software = strings.Repeat("x", events.MaxWord+1)
	l := eventstest.Open(t, o)
	var a acks
	var invalid *events.Invalid
	if err := a.save(l, "note"); !errors.As(err, &invalid) || len(l.Heads()) != 0 {
		t.Errorf("it gives %v and %d feeds", err, len(l.Heads()))
	}
}

// With no stamp left above the last nothing is written: it could not be put in order.
func TestF13_WithoutAStampNothingIsWritten_P7(t *testing.T) {
	l, b, disk := eventstest.OnMem(t, 488)
	var a acks
	if err := a.save(l, "before"); err != nil {
		t.Fatal(err)
	}
	if err := l.SetRaw([]byte("nclock"), slices.Repeat([]byte{255}, 8)); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	l = eventstest.Open(t, b.Options(disk, "log"))
	wantErr(t, a.save(l, "after"), hlc.ErrSpent)
	mustSound(t, l, a.list())
}

// A number that an action counted before the other writer of its feed was seen, under a
// counter that had a row, jumps once with the row.
func TestF12_ACounterWithARowThatTheActionCountedJumpsOnce_P6(t *testing.T) {
	p, theirs, _ := twins(t, 489)
	p.note("ours")
	next(t, p.log, "old")
	var before, after, fresh uint32
	err := p.log.Append(bg, func(tx *eventlog.Tx) (err error) {
		before, _ = tx.Next("old")
		if err := tx.Take(theirs); err == nil {
			t.Error("another event was taken in a place that is taken")
		}
		after, _ = tx.Next("old")
		fresh, err = tx.Next("fresh")
		return err
	})
	if err != nil || before != 2 || fresh < 101 || after != before+fresh {
		t.Errorf("gives %d and %d, and of a new one %d (%v)", before, after, fresh, err)
	}
}

// The past of a laptop that was put back comes in the action that writes: what is
// written goes on behind it.
func TestF10_PastThatComesInTheActionThatWritesIsGoneOnBehind_P4(t *testing.T) {
	p, _, lost := otherLife(t, 490)
	last := lost[1][len(lost[1])-1]
	p.giveBack(lost[:1])
	err := p.log.ReceiveWith(bg, lost[1], []events.SignedHead{signedAt(t, p.bench, last)}, func(tx *eventlog.Tx) error {
		_, err := eventstest.AddNotes(tx, unit, "in one", 1)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	e := p.note("behind")
	if b := p.begun(e.Feed); b.Parent != last.Head() {
		t.Errorf("the parent is event %d of %s, want %d of %s", b.Parent.Seq, b.Parent.Feed.Short(), last.Seq, last.Feed.Short())
	}
	mustBe(t, p.log, 3)
}

// The same where both come in one commit, in two actions.
func TestF10_PastThatComesInTheSameCommitIsGoneOnBehind_P4(t *testing.T) {
	p, _, lost := otherLife(t, 491)
	last := lost[1][len(lost[1])-1]
	p.giveBack(lost[:1])
	errs := oneCommit(p.log, 2, func(i int, tx *eventlog.Tx) error {
		if i == 0 {
			return errors.Join(tx.TakeRun(lost[1]), tx.KeepHead(signedAt(t, p.bench, last)))
		}
		_, err := eventstest.AddNotes(tx, unit, "in one", 1)
		return err
	})
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	e := p.note("behind")
	if b := p.begun(e.Feed); b.Parent != last.Head() {
		t.Errorf("the parent is event %d of %s", b.Parent.Seq, b.Parent.Feed.Short())
	}
	mustBe(t, p.log, 3)
}
