package meet_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"io"
	"io/fs"
	mrand "math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/evidence"
	"oldhand/sync/chunk"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

// album is a shop of three benches that have photos and no logs, and a host.
type album struct {
	shop   events.ShopID
	secret seal.Key
	keys   []events.BenchKey
	dir    string   // of the exchange
	homes  []string // of the stores
	host   *exchange.Host
	tag    exchange.Tag
	named  []meet.Named
	stores []*evidence.Store
	conns  []*exchange.Exchange
	upTo   int64
	now    time.Time
}

func newAlbum(t *testing.T) *album {
	t.Helper()
	a := &album{shop: events.ShopID{7, 15: 1}, secret: seal.Key{3, 31: 4}, dir: filepath.Join(t.TempDir(), "exchange"), upTo: 8 << 20, now: time.Now()}
	a.tag = exchange.Tag(segment.TagOf(a.shop))
	for i := range byte(3) {
		k, err := events.BenchKeyOf([32]byte{5, i})
		check(t, err)
		a.keys = append(a.keys, k)
		a.homes = append(a.homes, filepath.Join(t.TempDir(), "evidence"))
		a.stores = append(a.stores, evidence.New(evidence.Options{Dir: a.homes[i]}))
	}
	a.open(t)
	t.Cleanup(func() { a.shut(t) })
	return a
}

func (a *album) open(t *testing.T) {
	t.Helper()
	var err error
	a.host, err = exchange.OpenHost(exchange.HostOptions{Dir: a.dir, Listen: "127.0.0.1:0", LeastFree: 1})
	check(t, err)
	var ids []events.BenchID
	for _, k := range a.keys {
		id, err := k.Public()
		check(t, err)
		ids = append(ids, id)
	}
	check(t, a.host.SetUsers(a.tag, ids, nil))
	for _, k := range a.keys {
		x, err := exchange.Dial(t.Context(), exchange.DialOptions{Addrs: []string{a.host.Addr().String()}, Pins: []exchange.Pin{a.host.Pin()}, Key: k, Tag: a.tag})
		check(t, err)
		a.conns = append(a.conns, x)
	}
}

func (a *album) shut(t *testing.T) {
	t.Helper()
	for _, x := range a.conns {
		x.Close()
	}
	a.conns = nil
	check(t, a.host.Close())
}

// canary is in every photo, again and again.
const canary = "CANARY of Quarry Lane "

// photo makes a piece that does not pack, with the canary in it; newer ones come
// first in what entries name.
func (a *album) photo(t *testing.T, bench int, size int) events.Hash {
	t.Helper()
	b := photoBytes(byte(len(a.named)), size)
	h := events.Hash(sha256.Sum256(b))
	if bench >= 0 {
		p, err := a.stores[bench].Put(bytes.NewReader(b))
		check(t, err)
		if p.Content != h {
			t.Fatalf("%+v", p)
		}
	}
	a.named = append([]meet.Named{{Content: h, Size: int64(size)}}, a.named...)
	return h
}

func photoBytes(seed byte, size int) []byte {
	b := make([]byte, size)
	_, _ = mrand.NewChaCha8([32]byte{seed}).Read(b)
	copy(b, "%PDF-1.7\n")
	for at := 20; at+len(canary) < size; at += 5000 {
		copy(b[at:], canary)
	}
	return b
}

func (a *album) errand(bench int) meet.Errand {
	return meet.Errand{
		Shop: a.shop, Store: a.stores[bench], Named: a.named, UpTo: a.upTo, Random: rand.Reader, Now: func() time.Time { return a.now },
		Keys:    func(uint32) []seal.Key { return []seal.Key{a.secret} },
		Sealing: func() (uint32, seal.Key, bool) { return 1, a.secret, true },
	}
}

// goes has a bench go to the exchange once.
func (a *album) goes(t *testing.T, bench int) meet.PiecesMet {
	t.Helper()
	met, err := meet.Pieces(t.Context(), a.errand(bench), a.conns[bench], nil)
	check(t, err)
	return met
}

func (a *album) has(t *testing.T, bench int, h events.Hash) bool {
	t.Helper()
	f, err := a.stores[bench].Open(h)
	if errors.Is(err, evidence.ErrNotHere) {
		return false
	}
	check(t, err)
	b, err := io.ReadAll(f)
	check(t, errors.Join(err, f.Close()))
	if events.Hash(sha256.Sum256(b)) != h {
		t.Fatal("it is here with other bytes")
	}
	return true
}

func (a *album) mustHave(t *testing.T, bench int, h events.Hash) {
	t.Helper()
	if !a.has(t, bench, h) {
		t.Fatalf("bench %d does not have %s", bench, h.Short())
	}
}

func want(t *testing.T, what string, got, want meet.PiecesMet) {
	t.Helper()
	got.Bytes = 0
	if got != want {
		t.Errorf("%s: %+v, want %+v", what, got, want)
	}
}

// holds lists the files of a folder in which a word is.
func holds(t *testing.T, dir, word string) (found []string) {
	t.Helper()
	n := 0
	check(t, filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		n += len(b)
		if bytes.Contains(b, []byte(word)) {
			found = append(found, p)
		}
		return err
	}))
	if n < 1000 {
		t.Fatalf("only %d bytes in %s", n, dir)
	}
	return found
}

func TestAPhotoComesByteForByteAndTheExchangeReadsNothing_P4(t *testing.T) {
	a := newAlbum(t)
	big, small := a.photo(t, 0, 3*chunk.Size+5), a.photo(t, 1, 900)
	want(t, "the first gives", a.goes(t, 0), meet.PiecesMet{Gave: 1, Lacking: 1})
	want(t, "the second gives and takes", a.goes(t, 1), meet.PiecesMet{Gave: 1, Took: 1})
	want(t, "the third takes", a.goes(t, 2), meet.PiecesMet{Took: 2})
	want(t, "the first takes", a.goes(t, 0), meet.PiecesMet{Took: 1})
	for bench := range 3 {
		a.mustHave(t, bench, big)
		a.mustHave(t, bench, small)
	}
	before, err := a.conns[0].PieceState(t.Context())
	check(t, err)
	for bench := range 3 {
		want(t, "nothing is left", a.goes(t, bench), meet.PiecesMet{})
	}
	if after, err := a.conns[0].PieceState(t.Context()); err != nil || after != before {
		t.Errorf("going again changed it from %+v to %+v (%v)", before, after, err)
	}
	if found := holds(t, a.homes[1], canary); len(found) != 2 {
		t.Fatalf("the canary is in %v of the second bench", found)
	}
	a.shut(t)
	for _, word := range []string{canary, "%PDF", big.String(), string(big[:]), string(small[:8]), string(a.secret[:])} {
		if found := holds(t, a.dir, word); len(found) > 0 {
			t.Errorf("%q is in %v", word, found)
		}
	}
	a.open(t)
}

// An exchange that is made anew is filled by a bench that took no photo itself.
func TestAnExchangeMadeAnewIsFilledAgain_P8_F19(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, 0, 2*chunk.Size)
	a.goes(t, 0)
	a.goes(t, 1)
	a.shut(t)
	check(t, os.RemoveAll(a.dir))
	a.open(t)
	want(t, "the third finds nothing", a.goes(t, 2), meet.PiecesMet{Lacking: 1})
	want(t, "the second fills it", a.goes(t, 1), meet.PiecesMet{Gave: 1})
	want(t, "the third takes", a.goes(t, 2), meet.PiecesMet{Took: 1})
	a.mustHave(t, 2, h)
}

// One that was put back to an older copy, and written on since, is seen by its end.
func TestAnExchangePutBackIsFilledAgain_P8_F20(t *testing.T) {
	a := newAlbum(t)
	first := a.photo(t, 0, 1000)
	a.goes(t, 0)
	a.shut(t)
	old := filepath.Join(t.TempDir(), "old")
	check(t, os.CopyFS(old, os.DirFS(a.dir)))
	a.open(t)
	second := a.photo(t, 0, 1000)
	a.goes(t, 0)
	a.shut(t)
	check(t, os.RemoveAll(a.dir))
	check(t, os.CopyFS(a.dir, os.DirFS(old)))
	a.open(t)
	other := a.photo(t, 1, 1000)
	a.goes(t, 1) // and it has as many messages as before
	want(t, "the first gives again", a.goes(t, 0), meet.PiecesMet{Gave: 1, Took: 1})
	a.goes(t, 2)
	for _, h := range []events.Hash{first, second, other} {
		a.mustHave(t, 2, h)
	}
}

// A chunk that the exchange changed is refused, asked for again, given again and
// taken; what was good before it is not fetched twice.
func TestAFlippedChunkIsRefusedAndFetchedAgain_P10_F18(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, 0, 4*chunk.Size)
	p := exchange.Piece(chunk.NameOf(a.shop, h))
	sealed, err := chunk.Seal(a.shop, 1, a.secret, h, 2, photoBytes(0, 4*chunk.Size)[2*chunk.Size:3*chunk.Size], rand.Reader)
	check(t, err)
	sealed[70_000] ^= 1
	check(t, a.conns[2].PutChunk(t.Context(), p, exchange.ChunkAt{Number: 2}, sealed))
	a.goes(t, 0)
	want(t, "refused", a.goes(t, 1), meet.PiecesMet{Refused: 1})
	if a.has(t, 1, h) {
		t.Fatal("it was taken")
	}
	want(t, "refused, and not asked for twice", a.goes(t, 1), meet.PiecesMet{Refused: 1})
	before, err := a.conns[0].PieceState(t.Context())
	check(t, err)
	want(t, "the giver hears", a.goes(t, 0), meet.PiecesMet{})
	after, err := a.conns[0].PieceState(t.Context())
	if check(t, err); after.LastSeq != before.LastSeq+1 {
		t.Errorf("from %d to %d", before.LastSeq, after.LastSeq)
	}
	met := a.goes(t, 1)
	if met.Bytes != 2*chunk.Size {
		t.Errorf("%d bytes were fetched, want the two chunks that were not here", met.Bytes)
	}
	want(t, "taken", met, meet.PiecesMet{Took: 1})
	a.mustHave(t, 1, h)
	want(t, "heard once", a.goes(t, 0), meet.PiecesMet{})
	if s, err := a.conns[0].PieceState(t.Context()); err != nil || s.LastSeq != after.LastSeq {
		t.Errorf("given twice: %+v, %v", s, err)
	}
}

// A bench that puts bad tries over good ones keeps nobody from the good one, and
// nobody asks without an end.
func TestABadTryOverAGoodOneIsPassedOver_P10_F25(t *testing.T) {
	a := newAlbum(t)
	good, lost := a.photo(t, 0, 1000), a.photo(t, -1, 1000)
	a.goes(t, 0)
	for _, h := range []events.Hash{good, lost} {
		for _, try := range []uint32{1, 9} {
			check(t, a.conns[2].PutChunk(t.Context(), exchange.Piece(chunk.NameOf(a.shop, h)), exchange.ChunkAt{Try: try}, make([]byte, 1024)))
		}
	}
	want(t, "the good one", a.goes(t, 1), meet.PiecesMet{Took: 1, Refused: 1})
	a.mustHave(t, 1, good)
	if asked, err := a.conns[1].AskedFor(t.Context()); err != nil || len(asked) != 0 {
		t.Errorf("asked for the tenth time: %v, %v", asked, err)
	}
}

// A bit that flips on the exchange's disk.
func TestDamageOnTheExchangesDiskIsMended_F21(t *testing.T) {
	for _, index := range []bool{true, false} {
		a := newAlbum(t)
		h := a.photo(t, 0, 4*chunk.Size)
		a.goes(t, 0)
		a.shut(t)
		var largest string
		var size int64
		check(t, filepath.WalkDir(a.dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.Contains(path, "PIECES") {
				return err
			}
			if !index && d.Name() == "index.db" {
				return os.Remove(path)
			}
			info, err := d.Info()
			if err == nil && info.Size() > size {
				largest, size = path, info.Size()
			}
			return err
		}))
		b, err := os.ReadFile(largest)
		check(t, err)
		if len(b) < 3*chunk.Size {
			t.Fatalf("%s has %d bytes", largest, len(b))
		}
		b[len(b)/2] ^= 0x10
		check(t, os.WriteFile(largest, b, 0o600))
		a.open(t)
		for range 3 {
			t.Logf("with its index %v: the taker %+v, the giver %+v", index, a.goes(t, 1), a.goes(t, 0))
		}
		a.goes(t, 1)
		a.mustHave(t, 1, h)
	}
}

func TestTheNewestComesFirstAndWhatWasCutGoesOn_P14(t *testing.T) {
	a := newAlbum(t)
	old, young := a.photo(t, 0, 3*chunk.Size), a.photo(t, 0, 1000)
	a.goes(t, 0)
	ctx, cancel := context.WithCancel(t.Context())
	_, err := meet.Pieces(ctx, a.errand(1), a.conns[1], func(m meet.PiecesMet) {
		if m.Took == 1 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("it ended with %v", err)
	}
	if a.mustHave(t, 1, young); a.has(t, 1, old) {
		t.Error("the old one came too")
	}
	// Two chunks of the old one are here already.
	f, err := a.stores[1].Fetch()
	check(t, err)
	c, err := f.Piece(old, 3*chunk.Size, chunk.Size)
	check(t, err)
	check(t, errors.Join(c.Add(photoBytes(0, 3*chunk.Size)[:2*chunk.Size]), c.Close()))
	if _, err := meet.Pieces(t.Context(), a.errand(1), a.conns[1], nil); !errors.Is(err, evidence.ErrBusy) {
		t.Errorf("another fetches: %v", err)
	}
	check(t, f.Close())
	if met := a.goes(t, 1); met.Bytes != chunk.Size || met.Took != 1 {
		t.Errorf("%+v", met)
	}
	a.mustHave(t, 1, old)
}

func TestWhatIsTooLargeStaysAndIsCounted_F24(t *testing.T) {
	a := newAlbum(t)
	large, fits := a.photo(t, 0, 2*chunk.Size+1), a.photo(t, 0, 2*chunk.Size)
	a.upTo = 2 * chunk.Size
	want(t, "given", a.goes(t, 0), meet.PiecesMet{Gave: 1})
	want(t, "taken", a.goes(t, 1), meet.PiecesMet{Took: 1, Large: 1})
	a.mustHave(t, 1, fits)
	a.upTo = 3 * chunk.Size
	want(t, "given when asked to", a.goes(t, 0), meet.PiecesMet{Gave: 1})
	want(t, "and taken", a.goes(t, 1), meet.PiecesMet{Took: 1})
	a.mustHave(t, 1, large)
}

// Without the shop's key it waits, and nobody is asked for anything.
func TestWithoutTheKeyItWaits(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, 0, 1000)
	a.goes(t, 0)
	e := a.errand(1)
	e.Keys = func(uint32) []seal.Key { return nil }
	met, err := meet.Pieces(t.Context(), e, a.conns[1], nil)
	check(t, err)
	want(t, "without", met, meet.PiecesMet{Waiting: 1})
	if asked, err := a.conns[1].AskedFor(t.Context()); err != nil || len(asked) != 0 {
		t.Errorf("%v, %v", asked, err)
	}
	want(t, "with it", a.goes(t, 1), meet.PiecesMet{Took: 1})
	a.mustHave(t, 1, h)
}

// A bench with the shop's key can seal anything under a piece's name. It is not
// kept, and asked for no more until the day is over.
func TestWhatIsNotWhatWasNamedIsNotKept_P10(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, -1, 1000)
	wrong, err := chunk.Seal(a.shop, 1, a.secret, h, 0, photoBytes(99, 1000), rand.Reader)
	check(t, err)
	name := exchange.Piece(chunk.NameOf(a.shop, h))
	check(t, a.conns[2].PutChunk(t.Context(), name, exchange.ChunkAt{}, wrong))
	want(t, "refused", a.goes(t, 1), meet.PiecesMet{Refused: 1})
	want(t, "left alone", a.goes(t, 1), meet.PiecesMet{Lacking: 1})
	if a.has(t, 1, h) {
		t.Error("it was kept")
	}
	right, err := chunk.Seal(a.shop, 1, a.secret, h, 0, photoBytes(0, 1000), rand.Reader)
	check(t, err)
	check(t, a.conns[2].PutChunk(t.Context(), name, exchange.ChunkAt{Try: 1}, right))
	a.now = a.now.Add(25 * time.Hour)
	want(t, "a day later", a.goes(t, 1), meet.PiecesMet{Took: 1})
	a.mustHave(t, 1, h)
}

func TestADroppedPieceIsNotFetchedAgain_P15(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, 0, 1000)
	a.goes(t, 0)
	check(t, a.stores[0].Drop(h))
	want(t, "dropped", a.goes(t, 0), meet.PiecesMet{})
	if a.has(t, 0, h) {
		t.Error("it came back")
	}
}

// A bench does not give what went bad on its own disk, and gets it back.
func TestAPieceThatWentBadHereComesBack_P10(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, 0, 1000)
	a.goes(t, 0)
	a.goes(t, 1)
	path := filepath.Join(a.homes[0], "kept", h.String())
	b, err := os.ReadFile(path)
	check(t, err)
	b[500] ^= 1
	check(t, os.WriteFile(path, b, 0o600))
	a.shut(t)
	check(t, os.RemoveAll(a.dir))
	a.open(t)
	want(t, "nothing is given", a.goes(t, 0), meet.PiecesMet{})
	want(t, "the other gives", a.goes(t, 1), meet.PiecesMet{Gave: 1})
	want(t, "it comes back", a.goes(t, 0), meet.PiecesMet{Took: 1})
	a.mustHave(t, 0, h)
}
