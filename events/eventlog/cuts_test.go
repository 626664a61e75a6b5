package eventlog_test

import (
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// readings are how many events are seen by whoever looks for what follows, in three ways.
func readings(t *testing.T, l *eventlog.Log) (listed, walked, raw int) {
	t.Helper()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	evs, err := v.Events(unit)
	if err != nil {
		t.Fatal(err)
	}
	err = v.Each(func(events.Event) error { walked++; return nil })
	if err != nil {
		t.Fatal(err)
	}
	all, err := v.AllEvents(unit)
	if err != nil {
		t.Fatal(err)
	}
	counted := map[events.EventID]events.Hash{}
	for _, e := range evs {
		counted[e.ID] = e.Hash
	}
	for _, e := range all {
		hash, want := counted[e.ID]
		if got, ok, err := v.Event(unit, e.ID); err != nil || ok != want || got.Hash != hash {
			t.Fatalf("event %d by its id: %s (%v, %v), counts %v", e.Seq, got.Hash.Short(), ok, err, want)
		}
	}
	if _, ok, err := v.Event(unit, events.EventID{1}); ok || err != nil {
		t.Fatalf("an event that is not there: %v, %v", ok, err)
	}
	return len(evs), walked, len(all)
}

func TestNothingFollowsFromWhatLiesBehindACut_P12(t *testing.T) {
	shop := eventstest.FoundShop(t, 140)
	from, _ := bench2(t, shop)
	b := shop.Bench(t, 1)
	o := b.InFolder(t.TempDir())
	l := eventstest.Open(t, o)
	if err := l.Receive(t.Context(), from.evs, []events.SignedHead{from.head}); err != nil {
		t.Fatal(err)
	}
	if err := l.Rewrite("7", func(*eventlog.Bulk) error { return nil }); err != nil {
		t.Fatal(err)
	}
	feed, cut := from.head.Feed, from.head.Seq-4
	cuts := map[eventlog.Branch]uint64{eventlog.First(feed): cut, {Feed: events.FeedID{Incarnation: events.Incarnation{9}}}: 3}
	check := func(l *eventlog.Log) {
		t.Helper()
		// The feed's first event begins it and is listed under no unit.
		if listed, walked, raw := readings(t, l); listed != int(cut)-1 || walked != int(cut) || raw != int(from.head.Seq)-1 {
			t.Fatalf("listed %d, walked %d, in all %d; cut at %d of %d", listed, walked, raw, cut, from.head.Seq)
		}
		if version, err := l.Views(); err != nil || version != "" {
			t.Fatalf("views of version %q (%v), want none: they have more in them", version, err)
		}
		if got := l.Cuts(); len(got) != 1 || got[eventlog.First(feed)] != cut {
			t.Fatalf("cuts %v", got)
		}
	}
	if err := l.SetCuts(cuts, false); err != nil {
		t.Fatal(err)
	}
	check(l)
	closeLog(t, l)
	l = eventstest.Open(t, o)
	check(l)
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	scrubbed, err := v.Scrub(nil)
	v.Close()
	if err != nil || scrubbed.Events != from.head.Seq { // all of it is still there
		t.Fatalf("%d events are sound of %d (%v)", scrubbed.Events, from.head.Seq, err)
	}
	if err := l.Rewrite("7", func(*eventlog.Bulk) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if err := l.SetCuts(cuts, false); err != nil {
		t.Fatal(err)
	}
	if version, _ := l.Views(); version != "7" {
		t.Errorf("the same cuts made the views out of date")
	}
	if err := l.SetCuts(nil, false); err != nil {
		t.Fatal(err)
	}
	if listed, walked, raw := readings(t, l); listed != raw || walked != int(from.head.Seq) {
		t.Errorf("without a cut %d of %d are listed, %d walked", listed, raw, walked)
	}
}

func TestARetiredBenchWritesNothingMore_P12(t *testing.T) {
	l, _, folder := eventstest.InTemp(t, 141)
	eventstest.SaveNotes(t, l, unit, "before", noteSize)
	if err := l.SetCuts(nil, true); err != nil {
		t.Fatal(err)
	}
	write := func(l *eventlog.Log) error {
		return l.Append(t.Context(), func(tx *eventlog.Tx) error {
			_, err := tx.Add(eventstest.Note(unit, "after"))
			return err
		})
	}
	if err := write(l); !errors.Is(err, eventlog.ErrReadOnly) {
		t.Fatalf("got %v", err)
	}
	closeLog(t, l)
	l = eventstest.Open(t, eventstest.FoundShop(t, 141).Bench(t, 1).InFolder(folder))
	if err := write(l); !errors.Is(err, eventlog.ErrReadOnly) {
		t.Fatalf("opened again: %v", err)
	}
	if err := l.SetCuts(nil, false); err != nil {
		t.Fatal(err)
	}
	if err := write(l); err != nil {
		t.Fatal(err)
	}
}
