package eventlog_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// oddBody is an event of a known kind with a body that is well-formed and none of the
// kind's, {1: 5} as a note, in a chain that its bench signed.
func oddBody(t *testing.T, b *eventstest.Bench, at events.Event) sent {
	t.Helper()
	record, err := events.EncodeRecord(events.Envelope{ID: events.EventID{1, 2, 3}, Kind: events.KindNote, About: unit}, events.RawBody("\xa1\x01\x05"))
	if err != nil {
		t.Fatal(err)
	}
	e, err := events.Link(at.Head(), record)
	if err != nil {
		t.Fatal(err)
	}
	return sent{[]events.Event{e}, signedAt(t, b, e)}
}

// What another bench signed and nobody can read lies as it was written: the disk is
// not to blame for it, and its owner is not sent to buy another (P11).
func TestASoundChainWithABodyOfNoSenseIsNoDamage_P11(t *testing.T) {
	shop := eventstest.FoundShop(t, 440)
	from, b := bench2(t, shop)
	l := eventstest.Open(t, shop.Bench(t, 1).Options(vfs.NewMem(), "log"))
	takeRuns(t, l, from, oddBody(t, b, from.evs[len(from.evs)-1]))
	viewOf(t, l, func(v *eventlog.View) error {
		s, err := v.Scrub(nil)
		if want := uint64(len(from.evs) + 1); err != nil || s.Events != want {
			t.Errorf("a scrub walks %d events of %d: %v", s.Events, want, err)
		}
		return nil
	})
}

// Who scrubs much hears how far it is.
func TestAScrubTellsHowFarItIs(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 441)
	eventstest.SaveNotes(t, l, unit, "one", 4096)
	eventstest.SaveNotes(t, l, unit, "two", 4096)
	var said []uint64
	viewOf(t, l, func(v *eventlog.View) error {
		_, err := v.Scrub(func(n uint64) { said = append(said, n) })
		return err
	})
	if fmt.Sprint(said) != "[4096 8192]" {
		t.Errorf("told %v", said)
	}
}

// The bench signed another event than the one that lies here: one of the two is not
// what it wrote.
func TestASignedHeadOfAnotherEventIsFound_F4(t *testing.T) {
	shop := eventstest.FoundShop(t, 442)
	from, b := bench2(t, shop)
	l := eventstest.Open(t, shop.Bench(t, 1).Options(vfs.NewMem(), "log"))
	takeRuns(t, l, from)
	other := onwards(t, b, from.evs[len(from.evs)-2], "another", 1).head
	k, v := l.FindRaw(t, 's')
	const hash = 32 + 16 + 8 // behind the bench, the run and the number (doc.go)
	if got := [32]byte(v[hash:]); got != from.head.Hash || other.Seq != from.head.Seq {
		t.Fatalf("the row has %x, want %s", got, from.head.Hash)
	}
	copy(v[hash:], other.Hash[:])
	copy(v[hash+32:], other.Signature[:])
	if err := l.SetRaw(k, v); err != nil {
		t.Fatal(err)
	}
	eventstest.SaveNotes(t, l, unit, "publishes a view", 1)
	viewOf(t, l, func(v *eventlog.View) error {
		_, err := v.Scrub(nil)
		wantErr(t, err, eventlog.ErrDamaged)
		for _, word := range []string{other.Hash.Short(), from.head.Hash.Short(), "the signed head is of"} {
			if !strings.Contains(err.Error(), word) {
				t.Errorf("it says %v, want %q in it", err, word)
			}
		}
		return nil
	})
}

// A scrub that goes on from the end of a feed, or from beyond it, goes on with the
// next; one that goes on behind an event that was spoilt meanwhile says so.
func TestAScrubGoesOnFromWhereverItWas(t *testing.T) {
	l := shopOfThree(t, 443)
	viewOf(t, l, func(v *eventlog.View) error {
		heads, err := v.Heads()
		if err != nil {
			return err
		}
		for _, beyond := range []uint64{0, 1, 1 << 40} {
			s, next, _, err := v.ScrubOn(eventlog.ScrubPlace{Row: 0, Seq: heads[0].Seq + beyond}, 1000)
			if err != nil || s.Feeds != 2 || s.Events != heads[1].Seq+heads[2].Seq || next.Row != 3 {
				t.Errorf("from %d behind the end: %+v, then %+v (%v)", beyond, s, next, err)
			}
		}
		_, _, over, err := v.ScrubOn(eventlog.ScrubPlace{Row: 99}, 10)
		if !over || err != nil {
			t.Errorf("from a row that is not there: over %v (%v)", over, err)
		}
		return nil
	})
	k, _ := l.FindRaw(t, 'e')
	k[len(k)-1] = 5
	if err := l.SetRaw(k, []byte("short")); err != nil {
		t.Fatal(err)
	}
	eventstest.SaveNotes(t, l, unit, "publishes a view", 1)
	viewOf(t, l, func(v *eventlog.View) error {
		_, next, _, err := v.ScrubOn(eventlog.ScrubPlace{Row: 0, Seq: 5}, 3)
		wantErr(t, err, eventlog.ErrDamaged)
		if next != (eventlog.ScrubPlace{Row: 1}) {
			t.Errorf("it goes on at %+v", next)
		}
		return nil
	})
}

// Of a branch that is not here nothing is given.
func TestNothingIsGivenOfABranchThatIsNotHere(t *testing.T) {
	l := shopOfThree(t, 444)
	viewOf(t, l, func(v *eventlog.View) error {
		evs, end, err := v.Run(events.FeedID{Bench: events.BenchID{9}}, 0)
		if len(evs) > 0 || end != (events.SignedHead{}) {
			t.Errorf("%d events up to %+v", len(evs), end)
		}
		return err
	})
}

// A view that holds nothing under its key is a view all the same, and a leap comes
// by it.
func TestALeapComesByAnEmptyView(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 445)
	err := l.Append(bg, func(tx *eventlog.Tx) error {
		for _, k := range []string{"pa", "pb", "pc"} {
			tx.Put([]byte(k), []byte(k[:2*strings.Count(k, "c")]))
		}
		return nil
	})
	if err := errors.Join(err, l.Flush()); err != nil {
		t.Fatal(err)
	}
	seen := ""
	leap := func(k, v []byte) ([]byte, error) {
		seen += fmt.Sprintf("%s=%s;", k, v)
		if v == nil {
			t.Errorf("%s has no value", k)
		}
		return k, nil
	}
	viewOf(t, l, func(v *eventlog.View) error { return v.Leap([]byte("p"), []byte("q"), leap) })
	err = l.Append(bg, func(tx *eventlog.Tx) error { return tx.Leap([]byte("p"), []byte("q"), leap) })
	if want := "pa=;pb=;pc=pc;"; err != nil || seen != want+want {
		t.Errorf("seen is %q (%v), want %q twice", seen, err, want)
	}
}
