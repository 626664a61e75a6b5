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

func TestALongRunIsCutAtAbout500Events(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 1200)
	var sizes []int
	for evs := l.evs; len(evs) > 0; {
		n := segment.Split(evs)
		sizes = append(sizes, n)
		evs = evs[n:]
	}
	if len(sizes) != 3 || sizes[0] != 500 || sizes[1] != 500 || sizes[2] != 201 {
		t.Errorf("1201 events are cut into %v", sizes)
	}
	if n := segment.Split(nil); n != 0 {
		t.Errorf("no events are cut into %d", n)
	}
}

// Whatever the sizes of events, every piece that Split gives can be sealed and
// opened, pieces follow one another, and none is smaller than it must be.
func TestEveryPieceOfASplitFits_F24(t *testing.T) {
	start := begin(t, eventstest.FoundShop(t, 1), 1)
	rapid.Check(t, func(t *rapid.T) {
		l := start.fork(1)
		for range rapid.IntRange(0, 25).Draw(t, "events") {
			l.sized(t, rapid.OneOf(rapid.IntRange(256, 2000), rapid.IntRange(50_000, 65_000)).Draw(t, "size"))
		}
		at := l.at(0)
		for evs := l.evs; len(evs) > 0; {
			n := segment.Split(evs)
			if n < 1 || n > len(evs) {
				t.Fatalf("%d of %d", n, len(evs))
			}
			first := int(evs[0].Seq)
			got, err := l.open(t, first, first+n-1).Link(at)
			if err != nil || len(got) != n {
				t.Fatal(len(got), err)
			}
			if size := recordBytes(evs[:n]); n < len(evs) && size < 128<<10 {
				t.Fatalf("cut after %d bytes", size)
			}
			at, evs = evs[n-1].Head(), evs[n:]
		}
		if at != l.end() {
			t.Fatalf("pieces end at %d of %d", at.Seq, l.end().Seq)
		}
	})
}

func recordBytes(evs []events.Event) (n int) {
	for _, e := range evs {
		n += len(e.Record) + 4
	}
	return n
}

// One event over what a segment takes, by number and by bytes.
func TestFitsKnowsTheLimits_F24(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", segment.MaxEvents)
	if err := segment.Fits(l.evs[:segment.MaxEvents]); err != nil {
		t.Error(err)
	}
	if err := segment.Fits(l.evs); !errors.Is(err, segment.ErrTooLarge) {
		t.Errorf("got %v, want ErrTooLarge", err)
	}
	l.open(t, 2, segment.MaxEvents+1) // as many as there may be
	full := begin(t, l.bench.Shop, 2)
	for recordBytes(full.evs)+60_000 < segment.MaxRecords {
		full.sized(t, 50_000)
	}
	full.sized(t, segment.MaxRecords-recordBytes(full.evs)-4-len(full.evs[1].Record)+50_000)
	if n := recordBytes(full.evs); n != segment.MaxRecords {
		t.Fatalf("%d bytes of records, the test wants %d", n, segment.MaxRecords)
	}
	full.open(t, 1, len(full.evs)) // as large as it may be
	full.notes(t, "", 1)
	if err := segment.Fits(full.evs); !errors.Is(err, segment.ErrTooLarge) {
		t.Errorf("got %v, want ErrTooLarge", err)
	}
}

// Of others' feeds only the signed heads that were kept can be cut at.
func TestARunOfOthersIsCutAtItsSignedHeads(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 5200)
	branch := l.fork(300).notes(t, "another life", 10)
	other := begin(t, l.bench.Shop, 2).notes(t, "hum", 400)
	heads := func(seqs ...int) (hs []events.SignedHead) {
		for _, s := range seqs {
			hs = append(hs, l.signed(t, s))
		}
		return hs
	}
	for _, c := range []struct {
		name  string
		first int
		heads []events.SignedHead
		want  int
	}{
		{"no heads", 1, nil, 0},
		{"heads behind us only", 500, heads(100, 499), 0},
		{"the last that makes a good segment", 1, heads(100, 300, 500, 501), 500},
		{"whatever order they come in", 1, heads(501, 300, 500, 100), 500},
		{"the first where none makes a good one", 1, heads(900, 700, 800), 700},
		{"a good one though small", 1, heads(3, 700), 3},
		{"counted from where the run begins", 101, heads(100, 550, 700), 450},
		{"the run's last event", 5001, heads(5201), 201},
		{"one event", 300, heads(300), 1},
		{"a head of another branch", 1, append(heads(200), branch.signed(t, 305)), 200},
		{"a head of another feed", 1, append(heads(200), other.signed(t, 300)), 200},
		{"a head beyond the run", 5200, heads(5200, 5201), 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			run := l.evs[c.first-1:]
			n, head, err := segment.SplitAt(run, c.heads)
			if err != nil || n != c.want {
				t.Fatalf("cut at %d, %v, want %d", n, err, c.want)
			}
			if n > 0 && head.Head != run[n-1].Head() {
				t.Errorf("head %v is not of event %d", head.Head, run[n-1].Seq)
			}
		})
	}
	if n, _, err := segment.SplitAt(l.evs, heads(segment.MaxEvents+1)); !errors.Is(err, segment.ErrTooLarge) || n != 0 {
		t.Errorf("a head too far on: %d, %v, want ErrTooLarge", n, err)
	}
	if n, _, err := segment.SplitAt(nil, heads(1)); n != 0 || err != nil {
		t.Errorf("no events: %d, %v", n, err)
	}
}
