package eventlog_test

import (
	"errors"
	"io"
	"strings"
	"testing"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// dry is a source that has nothing more once it is on.
type dry struct {
	io.Reader
	on bool
}

var errDry = errors.New("nothing more to draw")

func (d *dry) Read(p []byte) (int, error) {
	if d.on {
		return 0, errDry
	}
	return d.Reader.Read(p)
}

// Numbers that are taken are passed over, in steps that grow, and the counter goes on
// from the one that was given.
func TestANumberThatIsTakenIsPassedOver(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 430)
	var tried []uint32
	taken := func(n uint32) (bool, error) { tried = append(tried, n); return n < 9, nil }
	give := func() (n uint32) {
		t.Helper()
		err := l.Append(bg, func(tx *eventlog.Tx) (err error) { n, err = tx.NextFree("tag", taken); return err })
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := give(); n != 16 || len(tried) != 5 { // 1, 2, 4, 8, 16: in five looks and not nine
		t.Errorf("gives %d, tried %v", n, tried)
	}
	if n := give(); n != 17 {
		t.Errorf("then it gives %d", n)
	}
	wantErr(t, l.Append(bg, func(tx *eventlog.Tx) error {
		_, err := tx.NextFree("tag", func(uint32) (bool, error) { return false, errDry })
		return err
	}), errDry)
	if n := give(); n != 18 {
		t.Errorf("an action that failed took number %d", n-1)
	}
}

// A counter whose row is not one says so, and no number is given.
func TestF04_ADamagedCounterGivesNoNumber(t *testing.T) {
	for _, row := range []string{"nnext/tag", "nfloor"} {
		l, _, _ := eventstest.OnMem(t, 431)
		eventstest.SaveVisit(t, l)
		if err := l.SetRaw([]byte(row), []byte{1, 2, 3}); err != nil {
			t.Fatal(err)
		}
		err := l.Append(bg, func(tx *eventlog.Tx) error {
			n, err := tx.Next("tag")
			if n != 0 {
				t.Errorf("%s: gives %d", row, n)
			}
			return err
		})
		wantErr(t, err, eventlog.ErrDamaged)
		if !strings.Contains(err.Error(), "count tag: counter of 3 bytes") {
			t.Errorf("%s: it says %v", row, err)
		}
	}
}

// doubtfulCopy is a laptop put back to a copy from before some numbers were given,
// open and not written since.
func doubtfulCopy(t *testing.T, seed uint64, random *dry) *laptop {
	t.Helper()
	p := newLaptop(t, seed)
	p.open()
	p.note("a")
	for _, c := range []string{"tag", "tag", "ticket"} {
		next(t, p.log, c)
	}
	closeLog(t, p.log)
	backup := p.backUp()
	p.open()
	p.note("b")
	closeLog(t, p.log)
	p.putBack(backup)
	o := p.bench.InFolder(p.folder)
	random.Reader = o.Random
	o.Random, o.Boot = random, p.boot
	p.log = eventstest.Open(t, o)
	return p
}

// Of a folder that may be an old copy no number is given as long as none can be drawn
// to jump by: it could be one that was given before.
func TestF10_NoNumberIsGivenThatCouldBeASecondOne_P6(t *testing.T) {
	random := dry{}
	p := doubtfulCopy(t, 432, &random)
	random.on = true
	for _, counter := range []string{"tag", "new"} {
		err := p.log.Append(bg, func(tx *eventlog.Tx) error { _, err := tx.Next(counter); return err })
		wantErr(t, err, errDry)
		err = p.log.Append(bg, func(tx *eventlog.Tx) error {
			_, err := tx.Add(eventstest.Note(unit, "no id"))
			return err
		})
		wantErr(t, err, errDry)
	}
	if p.log.Err() != nil {
		t.Fatal(p.log.Err())
	}
	random.on = false
	if n := next(t, p.log, "tag"); n < 102 {
		t.Errorf("then it gives %d", n)
	}
	if n := next(t, p.log, "new"); n < 101 {
		t.Errorf("a counter that was not begun gives %d", n)
	}
}

// A row that is damaged ends the jump, and nothing of it is kept.
func TestF04_ADamagedCounterEndsAJump_P3(t *testing.T) {
	random := dry{}
	p := doubtfulCopy(t, 433, &random)
	if err := p.log.SetRaw([]byte("nnext/ticket"), nil); err != nil {
		t.Fatal(err)
	}
	err := p.log.Append(bg, func(tx *eventlog.Tx) error { _, err := tx.Next("tag"); return err })
	wantErr(t, err, eventlog.ErrDamaged)
	if got := p.log.GetRaw(t, []byte("nnext/tag")); string(got) != "\x00\x00\x00\x02" {
		t.Errorf("the counter is at %x", got)
	}
}

// Counters of one action jump once, those that it counts first in the same way.
func TestF10_ACounterBegunInTheActionThatJumpsJumpsToo(t *testing.T) {
	random := dry{}
	p := doubtfulCopy(t, 434, &random)
	var tag, again, ticket uint32
	err := p.log.Append(bg, func(tx *eventlog.Tx) (err error) {
		tag, err = tx.Next("tag")
		again, _ = tx.Next("tag")
		ticket, _ = tx.Next("ticket")
		return err
	})
	if err != nil || tag < 102 || again != tag+1 || ticket != tag-1 {
		t.Errorf("tags %d and %d, ticket %d (%v): all must jump by the same", tag, again, ticket, err)
	}
}

// The feed turns out to have another writer while an action counts: what the action
// counted before jumps with all others, once.
func TestF12_WhatAnActionCountedBeforeTheOtherWriterWasSeenJumpsToo_P6(t *testing.T) {
	p, theirs, _ := twins(t, 435)
	p.note("ours")
	next(t, p.log, "old")
	var first, second, old, fresh uint32
	err := p.log.Append(bg, func(tx *eventlog.Tx) (err error) {
		first, _ = tx.Next("tag")
		if err := tx.Take(theirs); err == nil {
			t.Error("another event was taken in a place that is taken")
		}
		second, _ = tx.Next("tag")
		old, _ = tx.Next("old")
		fresh, err = tx.Next("fresh")
		return err
	})
	if err != nil || fresh < 101 || second != first+fresh || old != 1+fresh {
		t.Errorf("tags %d and %d, another %d, a new one %d (%v): all must jump by the same", first, second, old, fresh, err)
	}
}
