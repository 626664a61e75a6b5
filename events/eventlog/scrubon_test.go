package eventlog_test

import (
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// inPieces walks a log piece by piece, each on a view of its own, and gives what it
// came to, with the errors in the order they came.
func inPieces(t rapid.TB, l *eventlog.Log, most func() uint64) (sum eventlog.Scrubbed, wrong []error) {
	t.Helper()
	var at eventlog.ScrubPlace
	for over := false; !over; {
		v, err := l.View()
		if err != nil {
			t.Fatal(err)
		}
		m := most()
		s, next, end, err := v.ScrubOn(at, m)
		v.Close()
		if s.Events > m {
			t.Fatalf("a piece of at most %d walked %d events", m, s.Events)
		}
		if err != nil {
			wrong = append(wrong, err)
		}
		if next == at && !end {
			t.Fatalf("it stays at %+v", at)
		}
		sum.Events, sum.Feeds, at, over = sum.Events+s.Events, sum.Feeds+s.Feeds, next, end
	}
	return sum, wrong
}

// shopOfThree has the feeds of three benches, two of which came from elsewhere.
func shopOfThree(t *testing.T, seed uint64) *eventlog.Log {
	t.Helper()
	shop := eventstest.FoundShop(t, seed)
	l := eventstest.Open(t, shop.Bench(t, 1).Options(vfs.NewMem(), "log"))
	t.Cleanup(func() { closeLog(t, l) })
	eventstest.SaveNotes(t, l, unit, "a", 23)
	for n := range 2 {
		b := shop.Bench(t, uint32(n)+2)
		other := eventstest.Open(t, b.Options(vfs.NewMem(), "log"))
		eventstest.SaveNotes(t, other, unit, "b", 17)
		evs := eventstest.All(t, other)
		closeLog(t, other)
		for at := 0; at < len(evs); at += 5 {
			part := evs[at:min(len(evs), at+5)]
			if err := l.Receive(t.Context(), part, []events.SignedHead{signedAt(t, b, part[len(part)-1])}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return l
}

func TestAScrubInPiecesWalksWhatAWholeOneDoes_P14(t *testing.T) {
	l := shopOfThree(t, 140)
	var whole eventlog.Scrubbed
	viewOf(t, l, func(v *eventlog.View) (err error) { whole, err = v.Scrub(nil); return err })
	if whole.Feeds != 3 {
		t.Fatalf("a whole one walks %+v", whole)
	}
	rapid.Check(t, func(rt *rapid.T) {
		sum, wrong := inPieces(rt, l, func() uint64 { return rapid.Uint64Range(1, 30).Draw(rt, "most") })
		if sum != whole || len(wrong) > 0 {
			rt.Fatalf("in pieces %+v (%v), whole %+v", sum, wrong, whole)
		}
	})
}

// Damage in one feed is said once, wherever the pieces are cut, and the others are
// walked.
func TestAScrubInPiecesGoesOnBehindDamage_F4(t *testing.T) {
	for part, at := range map[string]int{"hash": 5, "record": -1} {
		t.Run(part, func(t *testing.T) {
			l := shopOfThree(t, 141)
			spoil(t, l, 16, at)
			eventstest.SaveNotes(t, l, unit, "publishes a view", 1)
			for most := range uint64(40) {
				sum, wrong := inPieces(t, l, func() uint64 { return most + 1 })
				if len(wrong) != 1 || sum.Feeds != 2 {
					t.Fatalf("in pieces of %d: %d feeds are whole, wrong are %v", most+1, sum.Feeds, wrong)
				}
				wantErr(t, wrong[0], eventlog.ErrDamaged)
			}
		})
	}
}

// An event that went from the middle of a feed, and one behind a piece's end, are
// missed in whichever piece they would be.
func TestAScrubInPiecesMissesWhatIsGone_F4(t *testing.T) {
	for _, seq := range []byte{1, 5, 24} {
		l := shopOfThree(t, 142)
		k, _ := l.FindRaw(t, 'e')
		k[len(k)-1] = seq
		if err := l.PutRaw(k, nil); err != nil {
			t.Fatal(err)
		}
		eventstest.SaveNotes(t, l, unit, "publishes a view", 1)
		for most := range uint64(30) {
			if _, wrong := inPieces(t, l, func() uint64 { return most + 1 }); len(wrong) != 1 {
				t.Fatalf("event %d is gone, and pieces of %d say %v", seq, most+1, wrong)
			}
		}
	}
}
