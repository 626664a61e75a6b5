package segment_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"sync"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"

	"github.com/klauspost/compress/zstd"
	"golang.org/x/crypto/chacha20poly1305"
)

const epoch = 3

var key = segment.Key{4, 5, 6, 31: 7}

// keys knows the key of one epoch.
func keys(e uint32) (segment.Key, bool) { return key, e == epoch }

// line is a feed as its bench wrote it.
type line struct {
	bench *eventstest.Bench
	feed  events.FeedID
	evs   []events.Event
}

// failer is what a test of either kind ends with.
type failer interface {
	Helper()
	Fatal(args ...any)
}

// begin writes the first event of a bench's feed.
func begin(t testing.TB, shop eventstest.Shop, number uint32) *line {
	t.Helper()
	b := shop.Bench(t, number)
	l := &line{bench: b, feed: events.FeedID{Bench: b.ID, Incarnation: events.Incarnation{byte(number), 9}}}
	l.add(t, events.Envelope{Kind: events.KindFeedBegun}, body(t, events.FeedBegun{Shop: shop.ID}))
	return l
}

// add writes one more event. An id that is not given follows from the place.
func (l *line) add(t failer, e events.Envelope, raw events.RawBody) {
	t.Helper()
	if e.ID.IsZero() {
		e.ID = events.EventID{1, 15: byte(len(l.evs) + 1), 14: byte((len(l.evs) + 1) >> 8)}
	}
	rec, err := events.EncodeRecord(e, raw)
	if err != nil {
		t.Fatal(err)
	}
	ev, err := events.Link(l.end(), rec)
	if err != nil {
		t.Fatal(err)
	}
	l.evs = append(l.evs, ev)
}

func (l *line) notes(t failer, text string, n int) *line {
	t.Helper()
	for i := range n {
		note := events.Note{Text: fmt.Sprintf("%s %d", text, i+1)}
		l.add(t, events.Envelope{Kind: events.KindNote, About: [16]byte{8}, By: "jo"}, body(t, note))
	}
	return l
}

// fork is the line up to an event, to be gone on with in another way.
func (l *line) fork(seq int) *line {
	return &line{l.bench, l.feed, append([]events.Event{}, l.evs[:seq]...)}
}

func (l *line) end() events.Head {
	if len(l.evs) == 0 {
		return events.Head{Feed: l.feed}
	}
	return l.evs[len(l.evs)-1].Head()
}

// at is the head after an event, before the first it is the feed's zero head.
func (l *line) at(seq int) events.Head {
	if seq == 0 {
		return events.Head{Feed: l.feed}
	}
	return l.evs[seq-1].Head()
}

func (l *line) signed(t failer, seq int) events.SignedHead {
	t.Helper()
	s, err := l.bench.Key.SignHead(l.bench.Shop.ID, l.at(seq))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// seal makes the segment of two events and all between.
func (l *line) seal(t failer, first, last int) []byte {
	t.Helper()
	b, err := segment.Seal(l.bench.Shop.ID, epoch, key, l.evs[first-1:last], l.signed(t, last), eventstest.Seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (l *line) open(t failer, first, last int) segment.Opened {
	t.Helper()
	o, err := segment.Open(l.seal(t, first, last), l.bench.Shop.ID, keys)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func (l *line) place(first, last int) segment.Place {
	return segment.Place{Shop: segment.TagOf(l.bench.Shop.ID), Feed: l.feed, First: uint64(first), Last: uint64(last), Epoch: epoch}
}

func body(t failer, b events.Body) events.RawBody {
	t.Helper()
	raw, err := events.EncodeBody(b)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// headerByHand lays out what doc.go says stands in clear.
func headerByHand(p segment.Place) []byte {
	var b bytes.Buffer
	b.WriteString("oldhseg\x01")
	b.Write(p.Shop[:])
	b.Write(p.Feed.Bench[:])
	b.Write(p.Feed.Incarnation[:])
	for _, n := range []uint64{p.First, p.Last} {
		_ = binary.Write(&b, binary.BigEndian, n) // a buffer takes all
	}
	_ = binary.Write(&b, binary.BigEndian, p.Epoch)
	return b.Bytes()
}

// plainByHand lays out what doc.go says stands inside.
func plainByHand(prev events.Hash, head events.SignedHead, records ...[]byte) []byte {
	b := append(append(append([]byte{}, prev[:]...), head.Hash[:]...), head.Signature[:]...)
	for _, r := range records {
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(r))), r...)
	}
	return b
}

// records are the records of two events and all between.
func (l *line) records(first, last int) (recs [][]byte) {
	for _, e := range l.evs[first-1 : last] {
		recs = append(recs, e.Record)
	}
	return recs
}

// otherPacker packs with the library's own settings, not with ours.
var otherPacker = sync.OnceValue(func() *zstd.Encoder {
	e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		panic(err) // the option is a constant
	}
	return e
})

// sealByHand seals any plain bytes behind any place, with nothing of ours in
// between: the layout is that of package seal's comment.
func sealByHand(t failer, k segment.Key, shop events.ShopID, p segment.Place, plain []byte) []byte {
	t.Helper()
	packed := otherPacker().EncodeAll(plain, nil)
	c := binary.BigEndian.AppendUint32(nil, uint32(len(plain)))
	return sealContentByHand(t, k, shop, p, append(binary.BigEndian.AppendUint32(c, uint32(len(packed))), packed...))
}

// sealContentByHand seals any content, which need not be as it says of itself.
func sealContentByHand(t failer, k segment.Key, shop events.ShopID, p segment.Place, c []byte) []byte {
	t.Helper()
	size := 1024
	for size < segment.HeaderSize+24+len(c)+16 {
		size *= 2 // each power of two is a size class
	}
	c = append(c, make([]byte, size-segment.HeaderSize-24-len(c)-16)...)
	nonce := make([]byte, 24)
	if _, err := io.ReadFull(eventstest.Seeded(2), nonce); err != nil {
		t.Fatal(err)
	}
	aead, err := chacha20poly1305.NewX(k[:])
	if err != nil {
		t.Fatal(err)
	}
	b := append(headerByHand(p), nonce...)
	return aead.Seal(b, nonce, c, append(headerByHand(p), shop[:]...))
}
