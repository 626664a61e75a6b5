package eventlog_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

func TestVisitIsReadByFeedAndBySubjectAndAfterReopening(t *testing.T) {
	l, b, fs := eventstest.OnMem(t, 1)
	unit := eventstest.SaveVisit(t, l)
	other := eventstest.SaveVisit(t, l)
	check := func(l *eventlog.Log) {
		t.Helper()
		evs := eventstest.All(t, l)
		want := []events.Kind{events.KindFeedBegun}
		for range 2 {
			want = append(want, events.KindReceived, events.KindFaultFound, events.KindPartReplaced,
				events.KindReadingTaken, events.KindFinalTest, events.KindShipped)
		}
		kinds := []events.Kind{}
		for _, e := range evs {
			kinds = append(kinds, e.Kind)
		}
		if !slices.Equal(kinds, want) {
			t.Fatalf("feed holds %v, want %v", kinds, want)
		}
		if err := chained(evs); err != nil {
			t.Fatal(err)
		}
		wantSubject(t, l, unit, evs[1:7])
		wantSubject(t, l, other, evs[7:13])
		wantSubject(t, l, [16]byte{9}, nil)
	}
	check(l)
	if err := l.Flush(); err != nil {
		t.Fatal(err)
	}
	check(l)
	closeLog(t, l)
	check(eventstest.Open(t, b.Options(fs, "log")))
}

// wantSubject checks the events listed under a subject, in any order.
func wantSubject(t *testing.T, l *eventlog.Log, subject [16]byte, want []events.Event) {
	t.Helper()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	got, err := v.Events(subject)
	if err != nil {
		t.Fatal(err)
	}
	slices.SortFunc(got, func(a, b events.Event) int { return int(a.Seq) - int(b.Seq) })
	if !slices.EqualFunc(got, want, func(a, b events.Event) bool { return a.Head() == b.Head() && bytes.Equal(a.Record, b.Record) }) {
		t.Fatalf("subject %x lists %d events, want %d", subject, len(got), len(want))
	}
}

func TestFeedIsReadFromAnyEventOn(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 2)
	eventstest.SaveNotes(t, l, unit, "hum", 9)
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	head := l.Heads()[0]
	for after := range uint64(14) {
		var seqs []uint64
		err := v.Feed(head.Feed, after, func(e events.Event) (bool, error) {
			seqs = append(seqs, e.Seq)
			return true, nil
		})
		if err != nil {
			t.Fatalf("after %d: %v", after, err)
		}
		if want := max(0, 10-int(after)); len(seqs) != want || want > 0 && seqs[0] != after+1 {
			t.Fatalf("after %d: read %v", after, seqs)
		}
	}
	unknown := events.FeedID{Bench: head.Feed.Bench}
	if err := v.Feed(unknown, 0, func(events.Event) (bool, error) { return false, errors.New("an event") }); err != nil {
		t.Fatalf("a feed that is not here: %v", err)
	}
}

// A join is found from both of its units.
func TestJoinIsListedUnderBothUnits(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 3)
	other := events.UnitID{0: 2}
	err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: unit, Body: events.SameUnit{Other: other}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	join := eventstest.All(t, l)[1:]
	wantSubject(t, l, unit, join)
	wantSubject(t, l, other, join)
}

func TestP3_ActionThatFailsLeavesNothing(t *testing.T) {
	boom := errors.New("second thoughts")
	for name, fail := range map[string]func(*eventlog.Tx) error{
		"its function fails after an event": func(tx *eventlog.Tx) error {
			if _, err := tx.Add(eventstest.Note(unit, "never 1")); err != nil {
				return err
			}
			tx.Put([]byte("x"), []byte("never"))
			if _, err := tx.Next("tag"); err != nil {
				return err
			}
			return boom
		},
		"an event of it is not valid": func(tx *eventlog.Tx) error {
			if _, err := tx.Add(eventstest.Note(unit, "never 1")); err != nil {
				return err
			}
			_, err := tx.Add(eventstest.Note(unit, ""))
			return errors.Join(err, boom)
		},
		"the projector fails": func(tx *eventlog.Tx) error {
			_, err := tx.Add(eventstest.Note(unit, "refuse this 1"))
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := eventstest.FoundShop(t, 4).Bench(t, 1)
			o := b.Options(nil, t.TempDir()+"/log")
			o.Projector = projector(func(tx *eventlog.Tx, evs []events.Event) error {
				tx.Put([]byte("last"), evs[len(evs)-1].Record)
				if bytes.Contains(evs[0].Record, []byte("refuse this")) || len(evs) > 1 && bytes.Contains(evs[1].Record, []byte("refuse this")) {
					return boom
				}
				return nil
			})
			l := eventstest.Open(t, o)
			wantErr(t, l.Append(t.Context(), fail), boom)
			if n := len(l.Heads()); n != 0 {
				t.Fatalf("%d feeds were begun", n)
			}
			var a acks
			for _, text := range []string{"good", "also good"} {
				if err := a.save(l, text); err != nil {
					t.Fatal(err)
				}
				wantErr(t, l.Append(t.Context(), fail), boom)
			}
			mustSound(t, l, a.list())
			if n := len(eventstest.All(t, l)); n != 1+2*noteSize {
				t.Fatalf("%d events, want %d", n, 1+2*noteSize)
			}
			if got := view(t, l, "x"); got != nil {
				t.Fatalf("view x is %q", got)
			}
			if got, want := view(t, l, "last"), eventstest.All(t, l)[2*noteSize].Record; !bytes.Equal(got, want) {
				t.Fatal("the projector's view is not of the last event saved")
			}
			wantNext(t, l, 1)
		})
	}
}

type projector func(*eventlog.Tx, []events.Event) error

func (p projector) Project(tx *eventlog.Tx, evs []events.Event) error { return p(tx, evs) }

func view(t testing.TB, l *eventlog.Log, k string) []byte {
	t.Helper()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	got, err := v.Get([]byte(k))
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// wantNext takes a number of the counter of tags and checks it.
func wantNext(t testing.TB, l *eventlog.Log, want uint32) {
	t.Helper()
	if got := next(t, l, "tag"); got != want {
		t.Fatalf("next tag is %d, want %d", got, want)
	}
}

func next(t testing.TB, l *eventlog.Log, counter string) (n uint32) {
	t.Helper()
	err := l.Append(t.Context(), func(tx *eventlog.Tx) (err error) {
		n, err = tx.Next(counter)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// An action whose function keeps its Tx can't add to it later, nor can a
// projector add events: they would have an id and no place.
func TestP2_NoEventIsAddedOnceTheActionIsOver(t *testing.T) {
	b := eventstest.FoundShop(t, 5).Bench(t, 1)
	o := b.Options(nil, t.TempDir()+"/log")
	var inProjector error
	o.Projector = projector(func(tx *eventlog.Tx, _ []events.Event) error {
		_, inProjector = tx.Add(eventstest.Note(unit, "from the projector 1"))
		return nil
	})
	l := eventstest.Open(t, o)
	var kept *eventlog.Tx
	err := l.Append(t.Context(), func(tx *eventlog.Tx) error {
		kept = tx
		_, err := eventstest.AddNotes(tx, unit, "good", noteSize)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	wantErr(t, inProjector, eventlog.ErrReadOnly)
	_, err = kept.Add(eventstest.Note(unit, "late 1"))
	wantErr(t, err, eventlog.ErrReadOnly)
	mustSound(t, l, nil)
}

// Years chosen are those where clocks of 32 bits and of common firmware stand
// after they were reset: 1970, 2038 (common practice, no source).
func TestF13_IDsOnlyRiseWhateverTheClockDoes(t *testing.T) {
	l, b, fs := eventstest.OnMem(t, 6)
	last := events.EventID{}
	for _, at := range []time.Time{
		eventstest.Morning, eventstest.Morning.AddDate(9, 0, 0), eventstest.Morning.AddDate(-9, 0, 0),
		time.Unix(0, 0), time.Unix(1<<31, 0), time.Unix(-1, 0).AddDate(-60, 0, 0), eventstest.Morning,
	} {
		b.Clock.Set(at)
		for range 2 {
			for _, id := range eventstest.SaveNotes(t, l, unit, "hum", 3) {
				if id.Compare(last) <= 0 {
					t.Fatalf("with the clock at %v: id %s after %s", at, id, last)
				}
				last = id
			}
		}
		closeLog(t, l)
		l = eventstest.Open(t, b.Options(fs, "log"))
	}
	for _, e := range eventstest.All(t, l) {
		if e.Seq == 1 && e.Kind != events.KindFeedBegun {
			t.Fatalf("feed begins with %s", e.Kind)
		}
	}
}

// The first event of a feed is made for an action: it sorts before the
// action's events, and two benches that begin in the same millisecond give it
// two ids.
func TestFeedsBegunAtOneMomentHaveTheirOwnIDs(t *testing.T) {
	shop := eventstest.FoundShop(t, 7)
	first := map[events.EventID]uint32{}
	for n := uint32(1); n <= 3; n++ {
		b := shop.Bench(t, n)
		l := eventstest.Open(t, b.Options(nil, t.TempDir()+"/log"))
		ids := eventstest.SaveNotes(t, l, unit, "hum", 1)
		begun := eventstest.All(t, l)[0].ID
		if begun.Compare(ids[0]) >= 0 {
			t.Fatalf("the feed begins with %s, its first note is %s", begun, ids[0])
		}
		if other, taken := first[begun]; taken {
			t.Fatalf("benches %d and %d both have event %s", other, n, begun)
		}
		first[begun] = n
	}
}

func TestWriteWithoutAKeyAndAfterCloseIsRefused(t *testing.T) {
	l, b, fs := eventstest.OnMem(t, 8)
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	if err := l.Close(); err != nil {
		t.Fatalf("second close: %v", err)
	}
	var a acks
	wantErr(t, a.save(l, "late"), eventlog.ErrClosed)
	_, err := l.View()
	wantErr(t, err, eventlog.ErrClosed)
	_, err = l.Views()
	wantErr(t, err, eventlog.ErrClosed)
	_, err = l.SignedHeads()
	wantErr(t, err, eventlog.ErrClosed)
	wantErr(t, l.Rewrite("1", func(*eventlog.Bulk) error { return nil }), eventlog.ErrClosed)

	o := b.Options(fs, "log")
	o.Key = events.BenchKey{}
	keyless := eventstest.Open(t, o)
	wantErr(t, a.save(keyless, "keyless"), eventlog.ErrReadOnly)
}

// A view that somebody still reads is not pulled away: Close waits for it.
func TestCloseWaitsForReaders(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 9)
	eventstest.SaveVisit(t, l)
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	closed := make(chan error, 1)
	go func() { closed <- l.Close() }()
	time.Sleep(30 * time.Millisecond) // lets Close come to where it waits; too short only weakens the test
	select {
	case err := <-closed:
		t.Fatalf("closed under a reader: %v", err)
	default:
	}
	if n := len(eventstest.Feed(t, v, l.Heads()[0].Feed)); n != 7 {
		t.Fatalf("read %d events", n)
	}
	v.Close()
	if err := <-closed; err != nil {
		t.Fatal(err)
	}
}

func TestStoreOfAnotherShopIsRefused(t *testing.T) {
	l, b, fs := eventstest.OnMem(t, 10)
	eventstest.SaveVisit(t, l)
	closeLog(t, l)
	o := b.Options(fs, "log")
	o.Shop = eventstest.FoundShop(t, 11).ID
	if other, err := eventlog.Open(o); err == nil {
		_ = other.Close()
		t.Fatal("opened under another shop's name")
	}
	mustHaveVisit(t, eventstest.Open(t, b.Options(fs, "log")))
}

func mustHaveVisit(t testing.TB, l *eventlog.Log) {
	t.Helper()
	if n := len(eventstest.All(t, l)); n != 7 {
		t.Fatalf("%d events, want 7", n)
	}
}

func TestStoreOfANewerFormatOrNoneIsRefused(t *testing.T) {
	l, b, fs := eventstest.OnMem(t, 12)
	eventstest.SaveVisit(t, l)
	if err := l.SetRaw([]byte("nformat"), []byte{eventlog.StoreFormat + 1}); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	_, err := eventlog.Open(b.Options(fs, "log"))
	wantErr(t, err, eventlog.ErrNewer)

	o := b.Options(fs, "elsewhere")
	o.Create = false
	_, err = eventlog.Open(o)
	wantErr(t, err, eventlog.ErrNoStore)
}
