package exchange_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go/jetstream"
)

var (
	door  = exchange.Piece{1, 15: 1}
	label = exchange.Piece{2}
)

func putChunk(t testing.TB, x *exchange.Exchange, p exchange.Piece, n, try uint32, text string) {
	t.Helper()
	if err := x.PutChunk(within(t), p, exchange.ChunkAt{Number: n, Try: try}, []byte(text)); err != nil {
		t.Fatal(err)
	}
}

func chunksOf(t testing.TB, x *exchange.Exchange, p exchange.Piece) string {
	t.Helper()
	there, err := x.Chunks(within(t), p)
	if err != nil {
		t.Fatal(err)
	}
	list := []string{}
	for _, n := range slices.Sorted(maps.Keys(there)) {
		list = append(list, exchange.ChunkAt{Number: n, Try: there[n]}.String())
	}
	return fmt.Sprint(list)
}

func chunkText(t testing.TB, x *exchange.Exchange, p exchange.Piece, n, try uint32) string {
	t.Helper()
	c, ok, err := x.Chunk(within(t), p, exchange.ChunkAt{Number: n, Try: try})
	if err != nil {
		t.Fatal(err)
	}
	if !ok {
		return "none"
	}
	return string(c)
}

func TestChunksAreListedGivenAndTaken(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	a, b := newKey(t), newKey(t)
	admit(t, h, a, b)
	near, far := dial(t, exchange.DialOptions{Host: h, Key: a, Tag: shop}), dial(t, to(h, b))
	for _, n := range []uint32{0, 2, 257} {
		putChunk(t, near, door, n, 0, fmt.Sprint("door", n))
	}
	putChunk(t, far, label, 0, 0, "label")
	for p, want := range map[exchange.Piece]string{door: "[0.0 2.0 257.0]", label: "[0.0]", {9}: "[]"} {
		if got := chunksOf(t, far, p); got != want {
			t.Errorf("of %s: %s, want %s", p, got, want)
		}
	}
	if got := chunkText(t, far, door, 257, 0); got != "door257" {
		t.Error(got)
	}
	if got := chunkText(t, far, door, 1, 0); got != "none" {
		t.Error(got)
	}
	s, err := far.PieceState(within(t))
	if err != nil || s.LastSeq != 4 || s.Messages != 4 || s.Bytes == 0 || s.Epoch == "" || s.Epoch == far.Epoch() {
		t.Errorf("%+v, %v", s, err)
	}
	if hash, ok, err := far.PieceAt(within(t), 4); err != nil || !ok || hash != sha256.Sum256([]byte("label")) {
		t.Errorf("%x, %v, %v", hash, ok, err)
	}
	if st := far.State(within(t)); st.Messages != 0 || len(st.Warnings) > 0 {
		t.Errorf("the events' stream: %+v", st)
	}
}

// Two benches that give the same chunk store it once; one that is bad is given
// again as the next try.
func TestAChunkIsStoredOnceAndGivenAgainBesideABadOne(t *testing.T) {
	t.Parallel()
	_, _, x := oneBench(t, exchange.HostOptions{})
	putChunk(t, x, door, 0, 0, "bad")
	if err := x.PutChunk(within(t), door, exchange.ChunkAt{}, []byte("x")); !errors.Is(err, exchange.ErrBehind) {
		t.Errorf("twice: %v", err)
	}
	putChunk(t, x, door, 0, 1, "good")
	if got := chunksOf(t, x, door); got != "[0.1]" {
		t.Error(got)
	}
	if got := chunkText(t, x, door, 0, 1); got != "good" {
		t.Error(got)
	}
}

func TestChunksAreAskedForAgain(t *testing.T) {
	t.Parallel()
	_, _, x := oneBench(t, exchange.HostOptions{})
	if list, err := x.AskedFor(within(t)); err != nil || len(list) != 0 {
		t.Errorf("%v, %v", list, err)
	}
	for _, bad := range [][]exchange.ChunkAt{{{Number: 3, Try: 7}}, {{Number: 3, Try: 7}, {Number: 1}}} {
		if err := x.Again(within(t), door, bad); err != nil {
			t.Fatal(err)
		}
		got, seq, err := x.Asked(within(t), door)
		if err != nil || seq == 0 || !slices.Equal(got, bad) {
			t.Errorf("%v at %d, %v", got, seq, err)
		}
	}
	if err := x.Again(within(t), label, make([]exchange.ChunkAt, 1000)); err != nil {
		t.Fatal(err)
	}
	if got, _, err := x.Asked(within(t), label); err != nil || len(got) != exchange.MaxAgain {
		t.Errorf("%d, %v", len(got), err)
	}
	list, err := x.AskedFor(within(t))
	slices.SortFunc(list, func(a, b exchange.Piece) int { return bytes.Compare(a[:], b[:]) })
	if err != nil || !slices.Equal(list, []exchange.Piece{door, label}) {
		t.Errorf("%v, %v", list, err)
	}
}

func TestAChunksSizeIsLimited_F24(t *testing.T) {
	t.Parallel()
	_, _, x := oneBench(t, exchange.HostOptions{})
	largest := bytes.Repeat([]byte{7}, exchange.MaxChunk)
	if err := x.PutChunk(within(t), door, exchange.ChunkAt{}, largest); err != nil {
		t.Error(err)
	}
	if c, ok, err := x.Chunk(within(t), door, exchange.ChunkAt{}); err != nil || !ok || !bytes.Equal(c, largest) {
		t.Errorf("it came as %d bytes, %v", len(c), err)
	}
	for _, bad := range [][]byte{nil, append(largest, 7)} {
		if err := x.PutChunk(within(t), door, exchange.ChunkAt{Number: 1}, bad); !errors.Is(err, exchange.ErrTooLarge) || !strings.Contains(err.Error(), "262144") {
			t.Errorf("%d bytes: %v", len(bad), err)
		}
	}
}

func TestRightsOverPhotos(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	k, g := newKey(t), newKey(t)
	if err := h.SetUsers(shop, ids(t, k), []exchange.Guest{exchange.Guest(public(t, g))}); err != nil {
		t.Fatal(err)
	}
	x := dial(t, to(h, k))
	putChunk(t, x, door, 0, 0, "door")
	s := shop.PieceStream()
	for subject, ask := range map[string]any{
		"$JS.API.STREAM.DELETE." + s:     nil,
		"$JS.API.STREAM.PURGE." + s:      nil,
		"$JS.API.STREAM.MSG.DELETE." + s: map[string]any{"seq": 1},
		"$JS.API.STREAM.UPDATE." + s:     exchange.PieceConfig(shop, 1),
	} {
		if a, err := raw(t, x, subject, ask); err == nil {
			t.Errorf("a bench: %s was answered: %+v", subject, a.Error)
		}
	}
	guest, _ := guestConn(t, h, g)
	subject := strings.Replace(shop.PieceSubjects()[0], "*.*.*", door.String()+".1.0", 1)
	for subject, ask := range map[string]any{
		"$JS.API.STREAM.INFO." + s:    nil,
		"$JS.API.STREAM.MSG.GET." + s: map[string]any{"seq": 1},
		subject:                       "a guest's",
	} {
		if m, err := guest.Request(subject, []byte(fmt.Sprint(ask)), 300*time.Millisecond); err == nil {
			t.Errorf("a guest: %s was answered: %s", subject, m.Data)
		}
	}
	if got := chunksOf(t, x, door); got != "[0.0]" {
		t.Errorf("left is %s", got)
	}
}

func TestPhotosOutliveTheServerAndNotTheirStream_F19(t *testing.T) {
	t.Parallel()
	h, k, x := oneBench(t, exchange.HostOptions{})
	putChunk(t, x, door, 0, 0, "door")
	before, err := x.PieceState(within(t))
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Restart(); err != nil {
		t.Fatal(err)
	}
	x = dial(t, to(h, k))
	if s, err := x.PieceState(within(t)); err != nil || s != before {
		t.Errorf("after a restart %+v (%v), before %+v", s, err, before)
	}
	if err := h.RemakePieces(within(t), shop); err != nil {
		t.Fatal(err)
	}
	if s, err := x.PieceState(within(t)); err != nil || s.Epoch == before.Epoch || s.Messages != 0 {
		t.Errorf("made anew %+v (%v), before %+v", s, err, before)
	}
}

func TestThePhotosStreamIsAsItShouldBe(t *testing.T) {
	good := exchange.PieceConfig(shop, 1)
	if odd := exchange.PiecesLoosened(good, shop, 1); len(odd) > 0 {
		t.Errorf("as it is made: %q", odd)
	}
	for want, change := range map[string]func(*jetstream.StreamConfig){
		"drops photos":  func(c *jetstream.StreamConfig) { c.Discard = jetstream.DiscardOld },
		"photos need":   func(c *jetstream.StreamConfig) { c.MaxMsgSize = 10 },
		"does not keep": func(c *jetstream.StreamConfig) { c.Subjects = []string{"x"} },
		"in memory":     func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
	} {
		c := exchange.PieceConfig(shop, 1)
		change(&c)
		if odd := strings.Join(exchange.PiecesLoosened(c, shop, 1), "; "); !strings.Contains(odd, want) {
			t.Errorf("%s: said %q", want, odd)
		}
	}
}
