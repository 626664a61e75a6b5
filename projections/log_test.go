package projections_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// onLog opens a real log on a disk in memory.
func onLog(t fataler, fs vfs.FS) *eventlog.Log {
	l, err := eventlog.Open(eventlog.Options{Dir: "store", FS: fs, Create: true, Projector: projections.Engine{}})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// views reads all views of a log.
func views(t fataler, l *eventlog.Log) map[string][]byte {
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	all := map[string][]byte{}
	err = v.Scan([]byte{0}, []byte{0xff}, func(k, val []byte) (bool, error) {
		all[string(k)] = slices.Clone(val)
		return true, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestP5_TheRealLogRestartedAnywhereHasTheViewsOfARebuild(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		w.begin()
		for range rapid.IntRange(1, 25).Draw(t, "events") {
			w.step()
		}
		want := rebuilt(t, w.all)
		fs := vfs.NewMem()
		l := onLog(t, fs)
		for _, batch := range w.deliveries() {
			if rapid.IntRange(0, 5).Draw(t, "restart") == 0 {
				if err := l.Close(); err != nil {
					t.Fatal(err)
				}
				l = onLog(t, fs)
			}
			take(t, l, batch)
		}
		got := views(t, l)
		sameViews(t, "from the log", want, got)
		if err := projections.RebuildStore(l); err != nil {
			t.Fatal(err)
		}
		sameViews(t, "rebuilt in the log", want, views(t, l))
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	})
}

// begin gives every bench's feed its first event, which the log asks for.
func (w *world) begin() {
	for b := range w.benches {
		w.heads[b].Seq, w.heads[b].Hash = 0, events.Hash{}
		w.event(b, events.Draft{Body: events.FeedBegun{Shop: events.ShopID{1}}})
	}
}

// deliveries is the events of each bench in order, those of several benches in
// some order, some of them twice.
func (w *world) deliveries() [][]events.Event {
	left := map[events.FeedID][]events.Event{}
	for _, e := range w.all {
		left[e.Feed] = append(left[e.Feed], e)
	}
	var batches [][]events.Event
	for len(left) > 0 {
		feeds := slices.SortedFunc(maps.Keys(left), events.FeedID.Compare)
		f := feeds[rapid.IntRange(0, len(feeds)-1).Draw(w.t, "feed")]
		n := rapid.IntRange(1, len(left[f])).Draw(w.t, "how many")
		batches = append(batches, left[f][:n])
		if rapid.IntRange(0, 3).Draw(w.t, "twice") == 0 {
			batches = append(batches, left[f][:n])
		}
		if left[f] = left[f][n:]; len(left[f]) == 0 {
			delete(left, f)
		}
	}
	return batches
}

func take(t fataler, l *eventlog.Log, batch []events.Event) {
	err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
		for _, e := range batch {
			if err := tx.Take(e); err != nil {
				return fmt.Errorf("%s: %w", e.Kind, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
