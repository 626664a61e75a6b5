package eventlog_test

import (
	"encoding/binary"
	"errors"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// eventRow is the key of an event in a row of the store, by its numbers.
func eventRow(row uint32, seq uint64) []byte {
	k := binary.BigEndian.AppendUint32([]byte{'e'}, row)
	return binary.BigEndian.AppendUint64(k, seq)
}

// withNotes is a log of one feed of 41 events.
func withNotes(t *testing.T, seed uint64) (*eventlog.Log, events.FeedID) {
	t.Helper()
	l, _, _ := eventstest.OnMem(t, seed)
	eventstest.SaveNotes(t, l, unit, "note", 40)
	return l, l.Heads()[0].Feed
}

// asked has a log asked in a way, and gives the error.
func asked(t *testing.T, l *eventlog.Log, ask func(*eventlog.View) error) (err error) {
	t.Helper()
	viewOf(t, l, func(v *eventlog.View) error { err = ask(v); return nil })
	return err
}

func feedAfter(f events.FeedID, after uint64) func(*eventlog.View) error {
	return func(v *eventlog.View) error {
		return v.Feed(f, after, func(events.Event) (bool, error) { return true, nil })
	}
}

// Events' rows are gone, or are not those of events: whoever reads what is behind or
// beside them hears which event is not here, and no event that is left is passed off as
// another.
func TestF04_EventsWhoseRowsAreGoneAreNamed_P9(t *testing.T) {
	for _, c := range []struct {
		name    string
		gone    []uint64
		instead []byte // a row's key that is there
		after   uint64 // where reading begins
		read    string // what reading a feed from there says
		scrub   string
	}{
		{"the first", []uint64{1}, nil, 0, "event 2 stands where 1 should", "event 2 stands where 1 should"},
		{"one in a group", []uint64{20}, nil, 17, "event 21 stands where 20 should", "event 21 stands where 20 should"},
		{"the last", []uint64{41}, nil, 33, "ends at 40", "ends at 40"},
		{"one that keeps its hash", []uint64{16}, nil, 16, "event 16 is not here", "event 17 stands where 16 should"},
		{"all behind one", seqs(32, 41), nil, 32, "event 32 is not here", "ends at 31"},
		{"one, and a longer key", []uint64{16}, append(eventRow(0, 16), 0), 16, "event key of 14 bytes", "event key of 14 bytes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, feed := withNotes(t, 470)
			for _, seq := range c.gone {
				if err := l.PutRaw(eventRow(0, seq), nil); err != nil {
					t.Fatal(err)
				}
			}
			if c.instead != nil {
				if err := l.SetRaw(c.instead, make([]byte, 40)); err != nil {
					t.Fatal(err)
				}
			}
			publish(t, l)
			if err := asked(t, l, feedAfter(feed, c.after)); !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), c.read) {
				t.Errorf("reading says %v, want %q", err, c.read)
			}
			scrub := func(v *eventlog.View) error { _, err := v.Scrub(nil); return err }
			if err := asked(t, l, scrub); !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), c.scrub) {
				t.Errorf("a scrub says %v, want %q", err, c.scrub)
			}
		})
	}
}

// publish has the next view show what was done behind the log's back.
func publish(t *testing.T, l *eventlog.Log) {
	t.Helper()
	if err := l.Append(bg, func(tx *eventlog.Tx) error { tx.PutMark([]byte("published"), []byte{1}); return nil }); err != nil {
		t.Fatal(err)
	}
}

func seqs(from, to uint64) (list []uint64) {
	for ; from <= to; from++ {
		list = append(list, from)
	}
	return list
}

// A row of the table of feeds that says the feed has no event is not taken for a feed
// that has none: a row is written with its first event.
func TestF04_AFeedOfNoEventIsDamage(t *testing.T) {
	l, feed := withNotes(t, 471)
	k, v := l.FindRaw(t, 'f')
	for _, seq := range seqs(1, 41) {
		if err := l.PutRaw(eventRow(0, seq), nil); err != nil {
			t.Fatal(err)
		}
	}
	clear(v[len(v)-40:]) // number and hash
	if err := l.SetRaw(k, v); err != nil {
		t.Fatal(err)
	}
	publish(t, l)
	err := asked(t, l, func(v *eventlog.View) error { _, err := v.Scrub(nil); return err })
	if !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), feed.Short()) {
		t.Errorf("it says %v", err)
	}
}

// Where a feed counts up to an event that is not here any more, nobody is told another
// end of it.
func TestF04_WhereACutFeedEndsIsNotMadeUp_P12(t *testing.T) {
	l, feed := withNotes(t, 472)
	err := l.SetCuts(map[eventlog.Branch]uint64{eventlog.First(feed): 16}, false)
	if err := errors.Join(err, l.PutRaw(eventRow(0, 16), nil)); err != nil {
		t.Fatal(err)
	}
	publish(t, l)
	err = asked(t, l, func(v *eventlog.View) error {
		heads, err := v.CountedHeads()
		if len(heads) > 0 {
			t.Errorf("ends at %v", heads)
		}
		return err
	})
	if !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), "event 16 is not here") {
		t.Errorf("it says %v", err)
	}
}

// The list of a subject's events is not one: who looks for one of them hears it, and is
// not told that there is none.
func TestF04_AnEventIsLookedForInADamagedList(t *testing.T) {
	l, _ := withNotes(t, 473)
	if err := l.SetRaw(append([]byte{'u'}, unit[:]...), []byte{0x80}); err != nil {
		t.Fatal(err)
	}
	publish(t, l)
	err := asked(t, l, func(v *eventlog.View) error {
		_, ok, err := v.Event(unit, events.EventID{1})
		if ok {
			t.Error("it is found")
		}
		return err
	})
	wantErr(t, err, eventlog.ErrDamaged)
}

// What is not here is said to be not here, and is no damage.
func TestAFeedOrABranchThatIsNotHereIsNotFound(t *testing.T) {
	l, feed := withNotes(t, 474)
	if _, ok := l.Reach(eventlog.Branch{Feed: feed, Root: events.Hash{1}}); ok {
		t.Error("a branch that is not here has a reach")
	}
	err := asked(t, l, func(v *eventlog.View) error {
		other := feed
		other.Incarnation[0] ^= 1
		h, ok, err := v.HashAt(other, 1)
		if ok || h != (events.Hash{}) {
			t.Errorf("an event of a feed that is not here has hash %s", h.Short())
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// Another event comes in a place of which the event is gone, alone or as a head: it is
// refused with what is missing here, and not taken.
func TestF04_NothingIsTakenInThePlaceOfAnEventThatIsGone_P6_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 475)
	from, b := bench2(t, shop)
	more := onwards(t, b, from.evs[len(from.evs)-1], "more", 20)
	l := receiver(t, shop)
	takeRuns(t, l, from, more)
	all := append(from.evs[:len(from.evs):len(from.evs)], more.evs...)
	other := forge(t, all[14], all[15], "other")
	if err := l.PutRaw(eventRow(0, 16), nil); err != nil {
		t.Fatal(err)
	}
	before := l.Heads()[0]
	head := signedAt(t, b, other)
	for name, take := range map[string]func() error{
		"an event": func() error { return l.Receive(bg, []events.Event{other}, []events.SignedHead{head}) },
		"a head":   func() error { return l.Receive(bg, nil, []events.SignedHead{head}) },
	} {
		err := take()
		if !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), "event 16 is not here") {
			t.Errorf("%s: it says %v", name, err)
		}
	}
	if got := l.Heads()[0]; got != before || l.Err() != nil {
		t.Errorf("the feed ends at %v, want %v (%v)", got, before, l.Err())
	}
}

// This bench signs for events of which one is gone here: the head is not kept, for
// nobody could be shown what it is of.
func TestF04_AHeadOverAnEventThatIsGoneIsNotKept(t *testing.T) {
	l, b, _ := eventstest.OnMem(t, 476)
	eventstest.SaveNotes(t, l, unit, "note", 40)
	signed, err := b.Key.SignHead(b.Shop.ID, l.Heads()[0])
	if err := errors.Join(err, l.PutRaw(eventRow(0, 20), nil)); err != nil {
		t.Fatal(err)
	}
	err = l.Receive(bg, nil, []events.SignedHead{signed})
	if !errors.Is(err, eventlog.ErrDamaged) || !strings.Contains(err.Error(), "event 20 is not here") {
		t.Errorf("it says %v", err)
	}
	if l.Err() != nil {
		t.Error(l.Err())
	}
}
