package eventlog_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// Feeds that come in turn, as an exchange gives them, each with a long or a short run in
// each action: long runs have tables of their own, which lie where nothing is above them,
// and all of it is there, in order.
func TestFeedsThatComeInTurnAreWrittenOnce(t *testing.T) {
	s := eventstest.FoundShop(t, 114)
	const benches = 6
	var from [benches]*eventlog.Log
	for i := range from {
		from[i] = eventstest.Open(t, s.Bench(t, uint32(i+1)).Options(vfs.NewMem(), "from"))
	}
	to := eventstest.Open(t, s.Bench(t, benches+1).Options(vfs.NewMem(), "to"))
	if err := to.DeferViews(); err != nil {
		t.Fatal(err)
	}
	to.WriteTables(true)
	var sent [benches]uint64
	for turn, counts := range [][benches]int{{4, 1, 1, 5, 1, 9}, {1, 6, 1, 3, 4, 1}, {5, 5, 5, 5, 5, 5}, {1, 1, 1, 1, 1, 1}, {3, 1, 7, 1, 2, 3}} {
		var all []eventlog.Batch
		for i, n := range counts {
			b, err := segment(from[i], n, sent[i], fmt.Sprintf("turn %d", turn))
			if err != nil {
				t.Fatal(err)
			}
			sent[i] = b.Heads[0].Seq
			all = append(all, b)
		}
		mark := func(tx *eventlog.Tx) error { tx.PutMark([]byte("turn"), []byte{byte(turn)}); return nil }
		if err := to.ReceiveAll(context.Background(), all, mark); err != nil {
			t.Fatalf("turn %d: %v", turn, err)
		}
		if turn%2 == 1 {
			if err := errors.Join(to.Flush(), to.Compact(t)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i, l := range from {
		if got, want := len(eventstest.All(t, l)), int(sent[i]); got != want {
			t.Fatalf("bench %d saved %d events, %d were sent", i, got, want)
		}
	}
	var want int
	for _, n := range sent {
		want += int(n)
	}
	if got := len(eventstest.All(t, to)); got != want {
		t.Errorf("%d events came, want %d", got, want)
	}
	tables, lowest := to.Tables(t), 0
	for _, table := range slices.Concat(tables...) {
		if table[0][0] < 'v' && table[1][0] >= 'v' {
			t.Errorf("a table reaches from %q to %q", table[0], table[1])
		}
	}
	for _, table := range tables[len(tables)-1] {
		if table[0][0] == 'e' && string(table[0][:5]) == string(table[1][:5]) {
			lowest++
		}
	}
	if lowest < 3 { // the last turn brought as many long runs
		t.Errorf("%d tables of one feed lie lowest", lowest)
	}
	v, err := to.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	if _, err := v.Scrub(func(uint64) {}); err != nil {
		t.Error(err)
	}
}

// segment saves notes, and gives what is new of the feed, as a segment.
func segment(l *eventlog.Log, n int, after uint64, text string) (b eventlog.Batch, err error) {
	err = l.Append(context.Background(), func(tx *eventlog.Tx) (err error) {
		for i := range n {
			_, no := tx.Add(eventstest.Note(events.UnitID{1}, fmt.Sprint(text, i)))
			err = errors.Join(err, no)
		}
		return err
	})
	if err != nil {
		return b, err
	}
	v, err := l.View()
	if err != nil {
		return b, err
	}
	defer v.Close()
	evs, head, err := v.Run(l.Heads()[0].Feed, after)
	return eventlog.Batch{Events: evs, Heads: []events.SignedHead{head}}, err
}
