package segment_test

import (
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"

	"pgregory.net/rapid"
)

// sized adds an event whose record has about a length.
func (l *line) sized(t failer, n int) {
	t.Helper()
	l.add(t, events.Envelope{Kind: 300}, append(events.RawBody{0xa1, 0x01, 0x59, byte(n >> 8), byte(n)}, make([]byte, n)...))
}

func recordBytes(evs []events.Event) (n int) {
	for _, e := range evs {
		n += len(e.Record) + 4
	}
	return n
}

// Whatever the sizes of events, a run as the log gives it can be sealed and
// opened.
func TestARunOfTheLogFits_F24(t *testing.T) {
	start := begin(t, eventstest.FoundShop(t, 1), 1)
	rapid.Check(t, func(t *rapid.T) {
		l := start.fork(1)
		size := 0
		for len(l.evs) < events.MaxRun {
			n := rapid.OneOf(rapid.IntRange(256, 2000), rapid.IntRange(50_000, 65_000)).Draw(t, "size")
			if size += n + 200; size > events.MaxRunBytes {
				break
			}
			l.sized(t, n)
		}
		got, err := l.open(t, 1, len(l.evs)).Link(l.at(0))
		if err != nil || len(got) != len(l.evs) {
			t.Fatal(len(got), err)
		}
	})
}

// As many and as large as a segment takes, and one over it.
func TestASegmentTakesNoMoreThanItsLimits_F24(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", segment.MaxEvents)
	l.open(t, 2, segment.MaxEvents+1)
	wantTooLarge(t, l)
	full := begin(t, l.bench.Shop, 2)
	for recordBytes(full.evs)+60_000 < segment.MaxRecords {
		full.sized(t, 50_000)
	}
	full.sized(t, segment.MaxRecords-recordBytes(full.evs)-4-len(full.evs[1].Record)+50_000)
	if n := recordBytes(full.evs); n != segment.MaxRecords {
		t.Fatalf("%d bytes of records, the test wants %d", n, segment.MaxRecords)
	}
	full.open(t, 1, len(full.evs))
	wantTooLarge(t, full.notes(t, "", 1))
}

// wantTooLarge wants the whole line to be too large for one segment.
func wantTooLarge(t *testing.T, l *line) {
	t.Helper()
	_, err := segment.Seal(l.bench.Shop.ID, 1, segment.Key{1}, l.evs, l.signed(t, len(l.evs)), eventstest.Seeded(5))
	if !errors.Is(err, segment.ErrTooLarge) {
		t.Errorf("got %v, want ErrTooLarge", err)
	}
}
