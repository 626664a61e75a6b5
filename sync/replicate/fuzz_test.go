package replicate

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/segment"
)

// A mark on a disk that gives back other bytes is refused, or it is read as one
// that is written with the same key and value: nothing in it goes by unread.
func FuzzReadMark(f *testing.F) {
	feed := events.FeedID{Bench: events.BenchID{1}, Incarnation: events.Incarnation{2}}
	head := events.Head{Feed: feed, Seq: 7, Hash: events.Hash{3}}
	signed := events.SignedHead{Head: head, Signature: [64]byte{4}}
	for _, m := range []Mark{
		Cursor{Epoch: "epoch", Message: 9, Hash: [32]byte{5}, Holes: 2}.mark(),
		survey{Sum: 6, At: time.Unix(1772440200, 0)}.mark("epoch"),
		spotOn{eventlog.First(feed), Spot{Message: 4, Head: head}}.mark("epoch"),
		spotOn{eventlog.Branch{Feed: feed, Root: events.Hash{8}}, Spot{Message: 4, Head: head}}.mark("epoch"),
		spotOn{eventlog.First(feed), Spot{Message: 4}}.mark("e"),
		headMark(signed, true), headMark(signed, false),
		Aside{Digest: [16]byte{1}, Why: WhyGap, Words: "events before it are missing", Bytes: []byte("no segment"), Message: 3}.mark(),
		Aside{Digest: [16]byte{2}, Why: WhyNoKey}.mark(),
	} {
		f.Add(m.Key, m.Value)
		f.Add(m.Key[:1], m.Value)
		f.Add(m.Key, m.Value[:len(m.Value)-1])
	}
	f.Add([]byte{}, []byte{})
	f.Fuzz(func(t *testing.T, k, v []byte) {
		again, known, err := markAgain(k, v)
		if err != nil {
			if !errors.Is(err, errMark) {
				t.Fatalf("%q %x: an error of no kind: %v", k, v, err)
			}
			return
		}
		if known && (!bytes.Equal(again.Key, k) || !bytes.Equal(again.Value, v)) {
			t.Fatalf("%q: %x\nis written again as\n%q: %x", k, v, again.Key, again.Value)
		}
	})
}

// markAgain reads a mark by its first byte and writes what was read.
func markAgain(k, v []byte) (m Mark, known bool, err error) {
	if len(k) == 0 {
		return m, false, nil
	}
	epoch := func(size int) string { return string(k[1:max(1, len(k)-size-1)]) }
	switch k[0] {
	case 'c':
		c, err := readCursor(k, v)
		return c.mark(), true, err
	case 's':
		s, err := readSurvey(v)
		return s.mark(string(k[1:])), true, err
	case 't', 'b':
		s, err := readSpot(k, v)
		if err != nil {
			return m, true, err
		}
		size := feedSize
		if k[0] == 'b' {
			size += len(s.Root)
		}
		if s.Head == (events.Head{}) && !bytes.Equal(v[8:], make([]byte, 40)) || (k[0] == 'b') == (s.Root == events.Hash{}) || len(k) < size+2 || k[len(k)-size-1] != 0 {
			return m, false, nil // of a spot with nothing the hash says nothing; a root of zeros has the other key
		}
		return s.mark(epoch(size)), true, nil
	case 'h', 'i':
		s, err := readHead(k, v)
		if err != nil || k[0] == 'i' && !bytes.HasSuffix(k, s.Hash[:]) {
			return m, false, err // the key only tells several apart
		}
		return headMark(s, k[0] == 'h'), true, nil
	case 'q':
		a, err := readAside(k, v)
		if err == nil && len(a.Words) > mostWords {
			return m, false, nil // longer ones are cut when they are written
		}
		if err == nil && a.Bytes != nil && (a.Place != segment.Place{}) && a.Place.Len() < 1 {
			return m, true, errors.New("a segment aside with a place that can't be")
		}
		return a.mark(), true, err
	}
	return m, false, nil
}
