package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// notebook is a log beside a plain map of all events that must be in it, each under its
// hash.
type notebook struct {
	t    *testing.T
	l    *eventlog.Log
	far  *eventstest.Bench // whose feed has branches
	all  map[events.Hash]events.Event
	tips []events.Event // of the far bench's feed, as they were made: any may be gone on behind
	made int
}

// lengths are those at which groups begin and end, and some between.
var lengths = rapid.SampledFrom([]int{1, 2, 3, 7, 14, 15, 16, 17, 18, 31, 32, 33, 48})

// grow has the far bench go on behind any of its events, and the log take that, and more
// of what it has, at once or in two parts.
func (n *notebook) grow(rt *rapid.T) {
	at := n.tips[len(n.tips)-1]
	if rapid.IntRange(0, 2).Draw(rt, "branch") == 0 {
		at = n.tips[rapid.IntRange(0, len(n.tips)-1).Draw(rt, "behind")]
	}
	n.made++
	r := onwards(n.t, n.far, at, fmt.Sprintf("%05d", n.made), lengths.Draw(rt, "events"))
	cut := rapid.IntRange(0, len(r.evs)-1).Draw(rt, "cut")
	parts := []sent{{r.evs[:cut], events.SignedHead{}}, r}
	if cut > 0 {
		parts[0].head = signedAt(n.t, n.far, r.evs[cut-1])
	}
	for _, part := range parts {
		for _, e := range part.evs {
			n.all[e.Hash] = e
		}
		if len(part.evs) == 0 {
			continue
		}
		err := n.l.ReceiveBranch(bg, part.evs, []events.SignedHead{part.head}, func(tx *eventlog.Tx) error {
			listed, err := tx.Events(unit) // of what is on disk and what is not yet
			if err != nil {
				return err
			}
			return n.same("in the action", listed, func(e events.Event) bool { return e.About == unit })
		})
		if err != nil {
			rt.Fatal(err)
		}
	}
	n.tips = append(n.tips, r.evs...)
}

// own saves notes of the log's own bench, whose events are what linking their records
// one behind the other gives.
func (n *notebook) own(rt *rapid.T) {
	eventstest.SaveNotes(n.t, n.l, unit, "own", lengths.Draw(rt, "notes"))
	viewOf(n.t, n.l, func(v *eventlog.View) error {
		for _, h := range n.l.Heads() {
			if h.Feed.Bench != n.l.Bench() {
				continue
			}
			head := events.Head{Feed: h.Feed}
			for _, e := range eventstest.Feed(n.t, v, h.Feed) {
				linked, err := events.Link(head, e.Record)
				if err != nil || linked.Hash != e.Hash {
					return fmt.Errorf("own event %d is %s, linked %s (%v)", e.Seq, e.Hash.Short(), linked.Hash.Short(), err)
				}
				n.all[e.Hash], head = linked, linked.Head()
			}
			if head != h {
				return fmt.Errorf("own events end at %v, their head is %v", head, h)
			}
		}
		return nil
	})
}

// same compares events with those of the map that are wanted.
func (n *notebook) same(how string, got []events.Event, wanted func(events.Event) bool) error {
	want, seen := 0, map[events.Hash]bool{}
	for _, e := range n.all {
		if wanted(e) {
			want++
		}
	}
	for _, e := range got {
		if w, ok := n.all[e.Hash]; !ok || seen[e.Hash] || !wanted(w) || !bytes.Equal(e.Record, w.Record) || e.Head() != w.Head() {
			return fmt.Errorf("%s: event %d (%s) is not one that was written, or comes twice", how, e.Seq, e.Hash.Short())
		}
		seen[e.Hash] = true
	}
	if len(got) != want {
		return fmt.Errorf("%s: %d events of %d", how, len(got), want)
	}
	return nil
}

// branch checks one branch from every number on: its events, their hashes, and where
// they are found.
func (n *notebook) branch(v *eventlog.View, r eventlog.Reach) ([]events.Event, error) {
	want := make([]events.Event, r.Own())
	for h, i := r.Head, len(want); i > 0; i-- {
		want[i-1] = n.all[h.Hash]
		h, _ = want[i-1].Before()
		if i == 1 && h != r.Base && r.Base.Seq > 0 {
			return nil, fmt.Errorf("branch %v leaves %v, its first follows %v", r.Branch, r.Base, h)
		}
	}
	for after := range r.Head.Seq + 2 {
		if m := after % 16; m > 1 && m < 14 && m != 8 && after != r.Base.Seq {
			continue // within a group it goes as at its eighth
		}
		var got []events.Event
		if err := v.BranchEvents(r.Branch, after, func(e events.Event) (bool, error) { got = append(got, e); return true, nil }); err != nil {
			return nil, err
		}
		behind := want[min(uint64(len(want)), max(after, r.Base.Seq)-r.Base.Seq):]
		if !slices.EqualFunc(got, behind, func(a, b events.Event) bool { return a.Head() == b.Head() && bytes.Equal(a.Record, b.Record) }) {
			return nil, fmt.Errorf("branch %v behind %d: %d events, want %d", r.Branch, after, len(got), len(behind))
		}
	}
	for _, e := range want {
		b, ok, err := v.Find(e.Head())
		if err != nil || !ok || b != r.Branch {
			return nil, fmt.Errorf("event %d is found on %v (%v, %v), want %v", e.Seq, b, ok, err, r.Branch)
		}
		h, ok, err := v.HashAt(r.Feed, e.Seq)
		if first := r.Root == (events.Hash{}); err != nil || first && !ok || ok && (h == e.Hash) != first {
			return nil, fmt.Errorf("hash at %d is %s (%v, %v), here is %s", e.Seq, h.Short(), ok, err, e.Hash.Short())
		}
	}
	return want, nil
}

// compare looks at the whole log in every way.
func (n *notebook) compare(rt *rapid.T) {
	v, err := n.l.View()
	if err != nil {
		rt.Fatal(err)
	}
	defer v.Close()
	all := func(events.Event) bool { return true }
	var walked, each []events.Event
	for _, r := range n.l.Branches() {
		evs, err := n.branch(v, r)
		if err != nil {
			rt.Fatal(err)
		}
		walked = append(walked, evs...)
	}
	listed, err := v.Events(unit)
	err = errors.Join(err, v.Each(func(e events.Event) error {
		e.Record = bytes.Clone(e.Record)
		each = append(each, e)
		return nil
	}))
	scrubbed, failed := v.Scrub(nil)
	err = errors.Join(err, failed, n.same("branch by branch", walked, all), n.same("each", each, all),
		n.same("listed", listed, func(e events.Event) bool { return e.About == unit }))
	if err != nil || int(scrubbed.Events) != len(n.all) {
		rt.Fatalf("a scrub walks %d events of %d: %v", scrubbed.Events, len(n.all), err)
	}
}

// However events came, and in whichever form the store is, they are read as they were
// written.
func TestEventsAreReadAsTheyWereWritten_P1_P3_P4(t *testing.T) {
	for name, form := range map[string]func(eventlog.Options) eventlog.Options{
		"as it is made": func(o eventlog.Options) eventlog.Options { return o },
		"of the first":  eventlog.Older,
	} {
		t.Run(name, func(t *testing.T) {
			shop := eventstest.FoundShop(t, 160)
			rapid.Check(t, func(rt *rapid.T) { readAsWritten(t, rt, shop, form) })
		})
	}
}

func readAsWritten(t *testing.T, rt *rapid.T, shop eventstest.Shop, form func(eventlog.Options) eventlog.Options) {
	fs := vfs.NewMem()
	o := form(shop.Bench(t, 1).Options(fs, "log"))
	n := &notebook{t: t, l: openShelf(rt, o), far: shop.Bench(t, 2), all: map[events.Hash]events.Event{}}
	defer func() { _ = n.l.Close() }()
	feed := events.FeedID{Bench: n.l.Bench(), Incarnation: events.Incarnation{2}}
	var err error
	if feed.Bench, err = n.far.Key.Public(); err != nil {
		rt.Fatal(err)
	}
	first := begins(t, shop, feed)
	n.tips, n.all[first.Hash] = []events.Event{first}, first
	takeRuns(t, n.l, sent{n.tips, signedAt(t, n.far, first)})
	rt.Repeat(map[string]func(*rapid.T){
		"look": n.compare,
		"grow": n.grow,
		"own":  n.own,
		"again": func(rt *rapid.T) { // what is here already
			at := rapid.IntRange(0, len(n.tips)-1).Draw(rt, "at")
			takeRuns(t, n.l, sent{n.tips[at : at+1], signedAt(t, n.far, n.tips[at])})
		},
		"tables": func(rt *rapid.T) { n.l.WriteTables(rapid.Bool().Draw(rt, "tables")) },
		"flush": func(rt *rapid.T) {
			if err := n.l.Flush(); err != nil {
				rt.Fatal(err)
			}
		},
		"reopen": func(rt *rapid.T) {
			if err := n.l.Close(); err != nil {
				rt.Fatal(err)
			}
			n.l = openShelf(rt, o)
		},
		"rewrite": func(rt *rapid.T) { // brings an older form to this one
			if err := n.l.Rewrite("v", func(*eventlog.Bulk) error { return nil }); err != nil {
				rt.Fatal(err)
			}
			if got := n.l.GetRaw(t, []byte("nformat")); got[0] != eventlog.StoreFormat {
				rt.Fatalf("format %x after a rewrite", got)
			}
		},
	})
	n.compare(rt)
}

// begins is the first event of a feed.
func begins(t *testing.T, shop eventstest.Shop, feed events.FeedID) events.Event {
	t.Helper()
	env, body, err := events.Draft{At: events.AtTime(eventstest.Morning), Body: events.FeedBegun{Shop: shop.ID, Software: "oldhand test"}}.Make(events.EventID{1, 1})
	if err != nil {
		t.Fatal(err)
	}
	record, err := events.EncodeRecord(env, body)
	if err != nil {
		t.Fatal(err)
	}
	e, err := events.Link(events.Head{Feed: feed}, record)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// Of sixteen hashes one is kept, of this bench's events and of those of others.
func TestOneHashInSixteenIsKept(t *testing.T) {
	shop := eventstest.FoundShop(t, 161)
	l := receiver(t, shop)
	eventstest.SaveNotes(t, l, unit, "own", 40)
	trunk, second, third := tree(t, shop)
	takeRuns(t, l, trunk, second, third, onwardsFrom(t, shop, third, 20))
	viewOf(t, l, func(v *eventlog.View) error {
		return v.Each(func(e events.Event) error {
			k := l.FindEvent(t, v, e.Head())
			want := e.Record
			if e.Seq%16 == 0 {
				want = slices.Concat(e.Hash[:], e.Record)
			}
			if got := l.GetRaw(t, k); !bytes.Equal(got, want) {
				t.Errorf("event %d is kept in %d bytes, want %d", e.Seq, len(got), len(want))
			}
			return nil
		})
	})
}

func onwardsFrom(t *testing.T, shop eventstest.Shop, r sent, n int) sent {
	t.Helper()
	return onwards(t, shop.Bench(t, 2), r.evs[len(r.evs)-1], "longer", n)
}
