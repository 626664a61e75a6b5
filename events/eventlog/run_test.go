package eventlog_test

import (
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// A feed of another bench that came in any parts is passed on in runs that end
// at heads its bench signed: all of it, each run short enough unless the bench
// itself signed more seldom, and not many more runs than need be.
func TestAForeignFeedIsPassedOnInRuns_P4_P8(t *testing.T) {
	shop := eventstest.FoundShop(t, 130)
	b := shop.Bench(t, 2)
	rapid.Check(t, func(rt *rapid.T) {
		evs := longFeed(t, rt, b)
		l := eventstest.Open(t, shop.Bench(t, 1).Options(vfs.NewMem(), "log"))
		defer l.Close()
		widest, widestBytes := 0, 0
		for at := 0; at < len(evs); {
			part := evs[at:min(len(evs), at+rapid.SampledFrom([]int{1, 3, 40, 499, 500, 700}).Draw(rt, "part"))]
			widest, widestBytes = max(widest, len(part)), max(widestBytes, bytesOf(part))
			if err := l.Receive(t.Context(), part, []events.SignedHead{signedAt(t, b, part[len(part)-1])}); err != nil {
				rt.Fatal(err)
			}
			at += len(part)
		}
		runs := walkRuns(rt, l, shop.ID, evs)
		for i, run := range runs {
			if len(run) > max(events.MaxRun, widest) || bytesOf(run) > max(events.MaxRunBytes, widestBytes) {
				rt.Fatalf("run %d is %d events of %d bytes", i, len(run), bytesOf(run))
			}
			if i > 1 && len(runs[i-1])+len(run) <= events.MaxRun-widest && bytesOf(runs[i-1])+bytesOf(run) <= events.MaxRunBytes-widestBytes && i < len(runs)-1 {
				rt.Fatalf("runs %d and %d of %d and %d events could have been one", i-1, i, len(runs[i-1]), len(run))
			}
		}
		if v, err := l.View(); err != nil {
			rt.Fatal(err)
		} else if _, err := v.Scrub(nil); err != nil {
			rt.Fatal(err)
		} else {
			v.Close()
		}
	})
}

func TestAnOwnFeedIsSignedWhereItIsCut(t *testing.T) {
	l, b, _ := eventstest.InTemp(t, 131)
	for range 7 {
		eventstest.SaveNotes(t, l, unit, strings.Repeat("n", 9000), 100)
	}
	evs := eventstest.All(t, l)
	for i, run := range walkRuns(t, l, b.Shop.ID, evs) {
		if len(run) > events.MaxRun || bytesOf(run) > events.MaxRunBytes {
			t.Errorf("run %d is %d events of %d bytes", i, len(run), bytesOf(run))
		}
	}
}

type fatalf interface {
	Fatal(...any)
	Fatalf(string, ...any)
}

// walkRuns takes one run after the other and checks that they are the feed.
func walkRuns(t fatalf, l *eventlog.Log, shop events.ShopID, want []events.Event) (runs [][]events.Event) {
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	at := events.Head{Feed: want[0].Feed}
	for at.Seq < uint64(len(want)) {
		run, end, err := v.Run(at.Feed, at.Seq)
		if err != nil || len(run) == 0 {
			t.Fatalf("behind %d of %d: %d events (%v)", at.Seq, len(want), len(run), err)
		}
		if err := end.Verify(shop); err != nil {
			t.Fatal(err)
		}
		for i, e := range run {
			if e.Hash != want[at.Seq+uint64(i)].Hash {
				t.Fatalf("event %d of the run behind %d is another", i, at.Seq)
			}
		}
		if at = run[len(run)-1].Head(); end.Head != at {
			t.Fatalf("a run to %d is signed at %d", at.Seq, end.Seq)
		}
		runs = append(runs, run)
	}
	if run, _, err := v.Run(at.Feed, at.Seq); len(run) != 0 || err != nil {
		t.Fatalf("behind the last event: %d events (%v)", len(run), err)
	}
	return runs
}

func bytesOf(evs []events.Event) (n int) {
	for _, e := range evs {
		n += len(e.Record)
	}
	return n
}

// longFeed is a feed of up to some thousand events, small and large.
func longFeed(t testing.TB, rt *rapid.T, b *eventstest.Bench) []events.Event {
	sizes := rapid.SliceOfN(rapid.SampledFrom([]int{1, 10, 200, 15000}), 1, 30).Draw(rt, "sizes")
	n := rapid.IntRange(2, 2500).Draw(rt, "events")
	head := events.Head{Feed: events.FeedID{Bench: b.ID, Incarnation: events.Incarnation{7}}}
	var evs []events.Event
	for i := range n {
		var body events.Body = events.Note{Text: strings.Repeat("x", sizes[i%len(sizes)])}
		kind := events.KindNote
		if i == 0 {
			body, kind = events.FeedBegun{Shop: b.Shop.ID}, events.KindFeedBegun
		}
		raw, err := events.EncodeBody(body)
		if err != nil {
			t.Fatal(err)
		}
		env := events.Envelope{ID: events.EventID{0, 0, 0, 0, 1, byte(i >> 8), byte(i), 1}, Kind: kind, Version: 1}
		if i > 0 {
			env.About = unit
		}
		record, err := events.EncodeRecord(env, raw)
		if err != nil {
			t.Fatal(err)
		}
		e, err := events.Link(head, record)
		if err != nil {
			t.Fatal(err)
		}
		head, evs = e.Head(), append(evs, e)
	}
	return slices.Clip(evs)
}
