package replicate

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// inboxOf is the inbox of a bench of a shop that nobody belongs to so far.
func inboxOf(t *testing.T, seed uint64) (*Inbox, *eventstest.Bench) {
	t.Helper()
	b := eventstest.FoundShop(t, seed).Bench(t, 1)
	in, err := NewInbox(OnLog(eventstest.Open(t, b.Options(vfs.NewMem(), "log"))), b.Shop.ID, b.Key)
	if err != nil {
		t.Fatal(err)
	}
	return in, b
}

func junk(n, size int) []byte {
	b := bytes.Repeat([]byte{'x'}, size)
	binary.BigEndian.PutUint32(b, uint32(n))
	return b
}

// newer is what a newer program's segment looks like to this one.
func newer(n, size int) []byte {
	b := junk(n, size)
	copy(b, "oldhseg\xff")
	binary.BigEndian.PutUint32(b[8:], uint32(n))
	return b
}

func take(t *testing.T, in *Inbox, b []byte, want Why) {
	t.Helper()
	came, err := in.Take(b, 1, nil)
	if err != nil || came.Aside != want {
		t.Fatalf("aside %q (%v), want %q", came.Aside, err, want)
	}
}

func TestTheNumberOfSegmentsKeptAsideIsBoundedAndBadOnesGoFirst_P14(t *testing.T) {
	in, _ := inboxOf(t, 1)
	for i := range mostAside + 10 {
		take(t, in, junk(i, 16), WhyBad)
	}
	if n := len(in.aside.rows); n != mostAside || in.Reread {
		t.Fatalf("%d are kept, read again %v: bad ones are not worth it", n, in.Reread)
	}
	for i := range 20 {
		take(t, in, newer(i, 64), WhyNewer)
	}
	list, err := in.Aside()
	if err != nil || len(list) != mostAside || in.Reread {
		t.Fatalf("%d are kept (%v), read again %v", len(list), err, in.Reread)
	}
	if n := len(slices.DeleteFunc(list, func(a Aside) bool { return a.Why == WhyBad })); n != 20 {
		t.Errorf("%d of 20 that may be taken are kept", n)
	}
}

// What may be taken and has no room is read again, also after a start anew.
func TestAFloodOfWhatMayBeTakenIsReadAgain_P9_P14(t *testing.T) {
	in, b := inboxOf(t, 2)
	for i := range mostAside + 1 {
		take(t, in, newer(i, 64), WhyNewer)
	}
	if len(in.aside.rows) != mostAside || !in.Reread {
		t.Fatalf("%d are kept, read again %v", len(in.aside.rows), in.Reread)
	}
	again, err := NewInbox(in.log, b.Shop.ID, b.Key)
	if err != nil || !again.Reread {
		t.Fatalf("after a start anew: read again %v (%v)", again.Reread, err)
	}
	bench, err := NewBench(in.log, b.Shop.ID, b.Key, eventstest.Seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	if bench.Standing().Level {
		t.Error("level, and something is to be read again")
	}
	if _, err := bench.Meet(State{Epoch: "A"}, 0); err != nil || bench.Inbox.Reread {
		t.Errorf("once an exchange is read from its first message: read again %v (%v)", bench.Inbox.Reread, err)
	}
}

// A segment beyond the room for bytes is remembered without them, and read again
// once something comes that may cure it.
func TestTheBytesKeptAsideAreBounded_P14(t *testing.T) {
	in, _ := inboxOf(t, 3)
	n := mostAsideBytes / segment.MaxSealed
	for i := range n + 2 {
		take(t, in, newer(i, segment.MaxSealed), WhyNewer)
	}
	list, err := in.Aside()
	if err != nil || len(list) != n+2 || in.aside.bytes > mostAsideBytes || in.Reread {
		t.Fatalf("%d are remembered with %d bytes (%v), read again %v", len(list), in.aside.bytes, err, in.Reread)
	}
	if without := len(slices.DeleteFunc(list, func(a Aside) bool { return a.Bytes != nil })); without != 2 {
		t.Errorf("%d without their bytes, want 2", without)
	}
	if _, err := in.Again(Came{Roster: true}); err != nil || !in.Reread {
		t.Errorf("what may be taken has no bytes here: read again %v (%v)", in.Reread, err)
	}
}

func TestMarksComeBackAsTheyWere(t *testing.T) {
	f := plainFeed(3, 9)
	first := eventlog.First(f)
	c := Cursor{Epoch: "e1", Message: 7, Hash: [32]byte{1, 2}, Holes: 3}
	m := c.mark()
	if got, err := readCursor(m.Key, m.Value); err != nil || got != c {
		t.Errorf("cursor %+v (%v)", got, err)
	}
	for _, s := range []Spot{{Message: 5, Head: plainHead(first, 6)}, {Message: 5}, {}} {
		s := spotOn{first, s}
		m := s.mark("e1")
		got, err := readSpot(m.Key, m.Value)
		if err != nil || got != s || !bytes.HasPrefix(m.Key, spotPrefix("e1")) || bytes.HasPrefix(m.Key, spotPrefix("e")) {
			t.Errorf("spot %+v (%v)", got, err)
		}
	}
	other := spotOn{eventlog.Branch{Feed: f, Root: events.Hash{4, 5}}, Spot{Head: plainHead(first, 6)}}
	m = other.mark("e1")
	if got, err := readSpot(m.Key, m.Value); err != nil || got != other || !bytes.HasPrefix(m.Key, forkPrefix("e1")) {
		t.Errorf("spot of another branch %+v (%v)", got, err)
	}
	h := events.SignedHead{Head: plainHead(first, 4), Signature: [64]byte{8}}
	for _, most := range []bool{true, false} {
		m = headMark(h, most)
		if got, err := readHead(m.Key, m.Value); err != nil || got != h {
			t.Errorf("head %+v (%v)", got, err)
		}
	}
	for _, a := range []Aside{
		{Digest: [16]byte{1}, Why: WhyGap, Words: "why", Message: 9, Bytes: []byte("bytes")},
		{Digest: [16]byte{2}, Why: WhyFork},
	} {
		m := a.mark()
		got, err := readAside(m.Key, m.Value)
		if err != nil || got.Digest != a.Digest || got.Why != a.Why || got.Words != a.Words || got.Message != a.Message || !bytes.Equal(got.Bytes, a.Bytes) {
			t.Errorf("aside %+v (%v)", got, err)
		}
	}
	long := Aside{Words: string(bytes.Repeat([]byte("ä"), mostWords))}.mark()
	if got, err := readAside(long.Key, long.Value); err != nil || len(got.Words) > mostWords {
		t.Errorf("%d bytes of words (%v)", len(got.Words), err)
	}
}

// A mark of another form stops the bench with a name, and not with a panic or in
// silence.
func TestAMarkOfAnotherFormIsRefusedByName_P10(t *testing.T) {
	f := eventlog.First(plainFeed(3, 9))
	good := map[string]Mark{
		"c": Cursor{Epoch: "A", Message: 1}.mark(),
		"t": spotOn{f, Spot{Message: 5, Head: plainHead(f, 6)}}.mark("A"),
		"b": spotOn{eventlog.Branch{Feed: f.Feed, Root: events.Hash{4}}, Spot{Head: plainHead(f, 6)}}.mark("A"),
		"h": headMark(events.SignedHead{Head: plainHead(f, 4)}, true),
		"i": headMark(events.SignedHead{Head: plainHead(f, 4)}, false),
		"q": Aside{Digest: [16]byte{1}, Why: WhyGap, Words: "why"}.mark(),
	}
	for name, m := range good {
		for _, bad := range []Mark{{m.Key, m.Value[:len(m.Value)-1]}, {m.Key, []byte{}}, {m.Key[:1], m.Value}} {
			if name == "c" && len(bad.Key) == 1 {
				continue // the epoch without a name
			}
			if (name == "t" || name == "b") && len(bad.Key) == 1 {
				bad.Key = append([]byte(name), 'A', 0, 1, 2)
			}
			in, b := inboxOf(t, 4)
			if err := in.log.Receive(nil, nil, []Mark{bad}); err != nil {
				t.Fatal(err)
			}
			bench, err := NewBench(in.log, b.Shop.ID, b.Key, eventstest.Seeded(1))
			if err == nil {
				_, err = bench.Meet(State{Epoch: "A"}, 0)
			}
			if !errors.Is(err, errMark) {
				t.Errorf("mark %q, key of %d bytes, value of %d: %v", name, len(bad.Key), len(bad.Value), err)
			}
		}
	}
}

// Two epochs of which one's name begins with the other's do not meet.
func TestMarksOfOneEpochAreNotAnothers(t *testing.T) {
	in, b := inboxOf(t, 5)
	f := plainFeed(3, 9)
	first, other := eventlog.First(f), eventlog.Branch{Feed: f, Root: events.Hash{4}}
	for _, epoch := range []string{"A", "A1", "B"} {
		if err := in.log.Receive(nil, nil, []Mark{Cursor{Epoch: epoch, Message: uint64(len(epoch))}.mark(), spotOn{first, Spot{Message: uint64(len(epoch))}}.mark(epoch), spotOn{other, Spot{Message: uint64(len(epoch))}}.mark(epoch)}); err != nil {
			t.Fatal(err)
		}
	}
	bench, err := NewBench(in.log, b.Shop.ID, b.Key, eventstest.Seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	if err := bench.anew("A"); err != nil {
		t.Fatal(err)
	}
	for epoch, want := range map[string]uint64{"A": 0, "A1": 2, "B": 1} {
		at, spots, err := bench.remembered(epoch)
		if err != nil || at.Message != want || spots[first].Message != want || spots[other].Message != want {
			t.Errorf("epoch %s: cursor %d, spots %d and %d (%v), want %d", epoch, at.Message, spots[first].Message, spots[other].Message, err, want)
		}
	}
}
