package eventlog_test

import (
	"errors"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// watcher knows of a log what it was told moved.
type watcher struct {
	mark  uint64
	known map[eventlog.Branch]eventlog.Reach
}

// look asks what moved and checks that it is all that did, and nothing else: held
// beside the whole list of branches.
func (w *watcher) look(t *rapid.T, l *eventlog.Log) {
	moved, mark := l.Moved(w.mark)
	if !slices.IsSortedFunc(moved, eventlog.Reach.Compare) {
		t.Fatalf("moved out of order: %v", moved)
	}
	for _, r := range moved {
		if w.known[r.Branch] == r {
			t.Fatalf("%v did not move since mark %d", r, w.mark)
		}
		w.known[r.Branch] = r
	}
	w.mark = mark
	all := l.Branches()
	for _, r := range all {
		if w.known[r.Branch] != r {
			t.Fatalf("%v moved, and since mark %d it is told of %v", r, w.mark, moved)
		}
	}
	if len(all) != len(w.known) {
		t.Fatalf("knows %d branches of %d", len(w.known), len(all))
	}
}

// watched is a log that runs of events come into bit by bit, and who watches it.
type watched struct {
	t        *testing.T
	opt      eventlog.Options
	log      *eventlog.Log
	watchers []watcher
	runs     []run
}

// run is what comes, and how much of it came.
type run struct {
	by   *eventstest.Bench
	evs  []events.Event
	came int
}

func (w *watched) open(t *rapid.T) {
	var err error
	if w.log, err = eventlog.Open(w.opt); err != nil {
		t.Fatal(err)
	}
	w.watchers = make([]watcher, 3)
	for i := range w.watchers {
		w.watchers[i].known = map[eventlog.Branch]eventlog.Reach{}
	}
}

func (w *watched) restart(t *rapid.T) {
	if err := w.log.Close(); err != nil {
		t.Fatal(err)
	}
	w.open(t)
}

// take takes a little more of a run. What leaves a branch that is not here yet is
// refused.
func (w *watched) take(t *rapid.T) {
	r := &w.runs[rapid.IntRange(0, len(w.runs)-1).Draw(t, "run")]
	n := min(len(r.evs), r.came+rapid.IntRange(1, 3).Draw(t, "events"))
	if n == r.came {
		return
	}
	heads := []events.SignedHead{signedAt(w.t, r.by, r.evs[n-1])}
	var refused *events.Refused
	switch err := w.log.ReceiveBranch(w.t.Context(), r.evs[r.came:n], heads, nil); {
	case err == nil:
		r.came = n
	case !errors.As(err, &refused):
		t.Fatal(err)
	}
}

// mark is a commit that moves nothing.
func (w *watched) mark(t *rapid.T) {
	err := w.log.ReceiveWith(w.t.Context(), nil, nil, func(tx *eventlog.Tx) error {
		tx.PutMark([]byte("x"), []byte{1})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// Some look often and some seldom, so that for some what a branch did before was
// taken out of the trail meanwhile.
func TestWhoAsksWhatMovedKnowsAllBranches(t *testing.T) {
	shop := eventstest.FoundShop(t, 157)
	trunk, second, third := tree(t, shop)
	other := shop.Bench(t, 2)
	beside := []events.Event{begun(t, shop.Bench(t, 3), shop)}
	beside = append(beside, onwards(t, shop.Bench(t, 3), beside[0], "beside", 40).evs...)
	rapid.Check(t, func(rt *rapid.T) {
		w := &watched{t: t, opt: shop.Bench(t, 1).Options(vfs.NewMem(), "log")}
		w.runs = []run{{by: other, evs: trunk.evs}, {by: other, evs: second.evs}, {by: other, evs: third.evs}, {by: shop.Bench(t, 3), evs: beside}}
		w.open(rt)
		defer func() { _ = w.log.Close() }()
		look := func(t *rapid.T) { w.watchers[rapid.IntRange(0, 2).Draw(t, "who")].look(t, w.log) }
		rt.Repeat(map[string]func(*rapid.T){
			"write": func(*rapid.T) { eventstest.SaveNotes(t, w.log, unit, "own", noteSize) },
			"write often": func(*rapid.T) {
				for range 6 {
					eventstest.SaveNotes(t, w.log, unit, "own", noteSize)
				}
			},
			"take": w.take, "take more": w.take, "mark": w.mark, "look": look,
			"restart": func(t *rapid.T) {
				if rapid.IntRange(0, 9).Draw(t, "seldom") == 0 {
					w.restart(t)
				}
			},
		})
		for i := range w.watchers {
			w.watchers[i].look(rt, w.log)
		}
	})
}

// begun is the first event of a feed.
func begun(t *testing.T, b *eventstest.Bench, shop eventstest.Shop) events.Event {
	t.Helper()
	body, err := events.EncodeBody(events.FeedBegun{Shop: shop.ID, Software: "oldhand test"})
	if err != nil {
		t.Fatal(err)
	}
	record, err := events.EncodeRecord(events.Envelope{ID: events.EventID{1, 9}, Kind: events.KindFeedBegun}, body)
	if err != nil {
		t.Fatal(err)
	}
	e, err := events.Link(events.Head{Feed: events.FeedID{Bench: b.ID, Incarnation: events.Incarnation{9}}}, record)
	if err != nil {
		t.Fatal(err)
	}
	return e
}
