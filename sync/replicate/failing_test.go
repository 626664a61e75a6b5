package replicate

import (
	"context"
	"errors"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// full is a log whose disk has no room for what was held.
type full struct{ Log }

var errFull = errors.New("no room")

func (full) ReceiveAll([]eventlog.Batch, []Mark) error { return errFull }

// What was held and could not be handed on was said to be here, so whatever is asked
// next hears of it, and never an answer without it.
func TestWhoeverAsksNextHearsThatWhatWasHeldIsNotHere_P2(t *testing.T) {
	b := eventstest.FoundShop(t, 31).Bench(t, 1)
	l := eventstest.Open(t, b.Options(vfs.NewMem(), "log"))
	feed := eventlog.First(events.FeedID{Bench: events.BenchID{1}})
	at := events.Head{Feed: feed.Feed, Seq: 5, Hash: events.Hash{5}}
	for what, ask := range map[string]func(h *holding) error{
		"run":     func(h *holding) error { _, _, err := h.Run(feed, 0); return err },
		"along":   func(h *holding) error { _, err := h.Along(1, at); return err },
		"kinds":   func(h *holding) error { return h.Kinds(feed, 0, func(events.Kind) bool { return true }) },
		"facts":   func(h *holding) error { _, err := h.Facts(); return err },
		"cuts":    func(h *holding) error { return h.SetCuts(nil, false) },
		"branch":  func(h *holding) error { return h.ReceiveBranch(nil, nil, nil) },
		"find":    func(h *holding) error { _, _, err := h.Find(events.Head{Feed: feed.Feed, Seq: 4}); return err },
		"hold":    func(h *holding) error { return h.hold(false) },
		"receive": func(h *holding) error { h.on = false; return h.Receive(nil, nil, []Mark{{[]byte("k"), []byte("v")}}) },
	} {
		h := &holding{Log: full{OnLog(l)}, on: true, tips: map[events.FeedID]events.Head{feed.Feed: at}}
		if err := h.Receive(nil, nil, []Mark{{[]byte("zz"), []byte("held")}}); err != nil {
			t.Fatal(err)
		}
		if err := ask(h); !errors.Is(err, errFull) {
			t.Errorf("%s: %v", what, err)
		}
		if err := h.Receive(nil, nil, []Mark{{[]byte("zz"), []byte("more")}}); !errors.Is(err, errFull) {
			t.Errorf("after %s more is taken: %v", what, err)
		}
		if err := h.hold(true); !errors.Is(err, errFull) {
			t.Errorf("after %s it holds on: %v", what, err)
		}
		h = &holding{Log: OnLog(l), on: true, flight: &flight{tips: map[events.FeedID]events.Head{feed.Feed: at}, end: make(chan error, 1)}}
		h.flight.end <- errFull
		if err := ask(h); !errors.Is(err, errFull) {
			t.Errorf("%s of what flew: %v", what, err)
		}
	}
}

// following is a projector that nothing follows from.
type following struct{}

func (following) Project(*eventlog.Tx, []events.Event) error { return nil }

// Where histories follow, others wait for a commit: it is smaller there.
func TestLessIsHeldWhereHistoriesFollow_P14(t *testing.T) {
	b := eventstest.FoundShop(t, 32).Bench(t, 1)
	o := b.Options(vfs.NewMem(), "log")
	o.Projector = following{}
	followed, alone := OnLog(eventstest.Open(t, o)), OnLog(eventstest.Open(t, b.Options(vfs.NewMem(), "log")))
	for n, want := range map[int][2]bool{mostHeldFollowed - 1: {}, mostHeldFollowed: {true, false}, mostHeld - 1: {true, false}, mostHeld: {true, true}} {
		if got := [2]bool{(&holding{Log: followed, events: n}).full(), (&holding{Log: alone, events: n}).full()}; got != want {
			t.Errorf("at %d events it is full, followed and not: %v, want %v", n, got, want)
		}
	}
}

func TestABenchWithoutAKeyIsNone(t *testing.T) {
	b := eventstest.FoundShop(t, 33).Bench(t, 1)
	l := eventstest.Open(t, b.Options(vfs.NewMem(), "log"))
	if got, err := NewBench(OnLog(l), b.Shop.ID, events.BenchKey{}, b.Random); err == nil || got != nil {
		t.Errorf("it is %v, %v", got, err)
	}
}

func TestAClosedLogAnswersNothing(t *testing.T) {
	in, b := inboxOf(t, 34)
	l := eventstest.Open(t, b.Options(vfs.NewMem(), "another"))
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	in.log = OnLog(l)
	if _, _, err := in.log.Find(events.Head{Feed: events.FeedID{Bench: events.BenchID{1}}, Seq: 1}); !errors.Is(err, eventlog.ErrClosed) {
		t.Errorf("an event is looked for: %v", err)
	}
	h := must(b.Key.SignHead(b.Shop.ID, events.Head{Feed: events.FeedID{Bench: must(b.Key.Public()), Incarnation: events.Incarnation{1}}, Seq: 3, Hash: events.Hash{3}}))
	if err := in.Hear([]events.SignedHead{h}); !errors.Is(err, eventlog.ErrClosed) {
		t.Errorf("heads are heard of: %v", err)
	}
	if len(in.known) > 0 {
		t.Errorf("what was not heard is known: %v", in.known)
	}
}

// What somebody says to have had is heard once, where its bench signed it for this
// shop, and not where it is here.
func TestOnlySignedHeadsThatAreNotHereAreHeardAndOnce_P9(t *testing.T) {
	in, b := inboxOf(t, 35)
	l := in.log.(onLog)
	if err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{Body: events.ShopDay{Day: 20000, Why: "the fair"}})
		return err
	}); err != nil {
		t.Fatal(err)
	}
	here := l.Heads()[0]
	away := must(b.Key.SignHead(b.Shop.ID, events.Head{Feed: here.Feed, Seq: here.Seq + 7, Hash: events.Hash{7}}))
	forged := away
	forged.Seq++
	for range 2 {
		if err := in.Hear([]events.SignedHead{must(b.Key.SignHead(b.Shop.ID, here)), forged}); err != nil {
			t.Fatal(err)
		}
		if len(in.known) > 0 {
			t.Fatalf("known are %v", in.known)
		}
	}
	for range 2 {
		if err := in.Hear([]events.SignedHead{away, away}); err != nil {
			t.Fatal(err)
		}
		if got := in.known[here.Feed]; len(got) != 1 || got[0].Head != away.Head {
			t.Fatalf("known are %v", got)
		}
	}
}

// Feeds that wait for a message are looked at in the order of the messages.
func TestTheFeedThatWaitsForTheEarliestMessageComesFirst(t *testing.T) {
	c := NewCore(events.BenchID{9})
	feed := func(n byte) events.FeedID { return events.FeedID{Bench: events.BenchID{n}} }
	for n, message := range map[byte]uint64{1: 30, 2: 10, 3: 20, 4: 10} {
		c.awaitMessage(feed(n), message)
	}
	var got []byte
	for c.lines.behind.len() > 0 {
		got = append(got, c.lines.behind.take().feed.Bench[0])
	}
	if !slices.Equal(got, []byte{2, 4, 3, 1}) {
		t.Errorf("they come as %v", got)
	}
}

// A bench that no key of the shop reached gives nothing, and says so: who has no key
// can't seal.
func TestABenchWithoutTheShopsKeyGivesNothingAndIsNotLevel_P9(t *testing.T) {
	b := eventstest.FoundShop(t, 36).Bench(t, 1)
	l := eventstest.Open(t, b.Options(vfs.NewMem(), "log"))
	if err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{Body: events.ShopDay{Day: 20000, Why: "the fair"}})
		return err
	}); err != nil {
		t.Fatal(err)
	}
	bench := must(NewBench(OnLog(l), b.Shop.ID, b.Key, b.Random))
	must(bench.Meet(State{Epoch: "A"}, 0))
	x := &noPosts{}
	for now := int64(0); now < 300_000; now += 30_000 {
		if err := bench.Tick(now); err != nil {
			t.Fatal(err)
		}
		for bench.Busy() {
			if err := bench.Do(x, func() int64 { return now }); err != nil {
				t.Fatal(err)
			}
		}
	}
	if st := bench.Standing(); x.posts > 0 || st.Level || len(st.Owing) != 1 {
		t.Errorf("%d were given; it stands %+v", x.posts, st)
	}
	own := l.Heads()[0]
	for _, after := range []uint64{0, own.Seq} { // no key, and nothing there
		if _, _, err := bench.Seal(eventlog.First(own.Feed), after); !errors.Is(err, ErrUnproven) {
			t.Errorf("behind %d: %v", after, err)
		}
	}
}

// noPosts is an empty exchange that counts what it is given.
type noPosts struct{ posts int }

func (x *noPosts) Publish(events.FeedID, uint64, []byte) (uint64, Failure) { x.posts++; return 0, Busy }
func (x *noPosts) Last(events.FeedID) (Message, Failure)                   { return Message{}, 0 }

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
