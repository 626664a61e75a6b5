package chunk_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"maps"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/chunk"
	"oldhand/sync/seal"
)

const (
	epoch      = 3
	goldenSeed = 1 // founds the shop of the kept chunks
)

var (
	key     = seal.Key{4, 5, 6, 31: 7}
	content = events.Hash{0x88, 31: 0x99}

	wantName = "6d15b4cb3cefa21fc6e236e331e98772"
)

func keys(e uint32) []seal.Key {
	if e != epoch {
		return nil
	}
	return []seal.Key{{1}, key}
}

func noise(t testing.TB, n int) []byte {
	t.Helper()
	b := make([]byte, n)
	if _, err := eventstest.Seeded(5).Read(b); err != nil {
		t.Fatal(err)
	}
	return b
}

func sealed(t testing.TB, shop events.ShopID, number uint32, plain []byte) []byte {
	t.Helper()
	b, err := chunk.Seal(shop, epoch, key, content, number, plain, eventstest.Seeded(8))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestAWholeChunkIsExactlyOfItsSizeAndOpens(t *testing.T) {
	shop := eventstest.FoundShop(t, 1).ID
	plain := noise(t, chunk.Size)
	b := sealed(t, shop, 7, plain)
	if len(b) != chunk.MaxSealed {
		t.Errorf("%d bytes, want %d", len(b), chunk.MaxSealed)
	}
	got, err := chunk.Open(b, shop, content, 7, keys)
	if err != nil || !bytes.Equal(got, plain) {
		t.Errorf("%d bytes, %v", len(got), err)
	}
	for _, bad := range [][]byte{nil, append(plain, 1)} {
		if _, err := chunk.Seal(shop, epoch, key, content, 0, bad, eventstest.Seeded(8)); !errors.Is(err, chunk.ErrTooLarge) {
			t.Errorf("%d bytes: %v", len(bad), err)
		}
	}
}

func TestAPieceIsCutWithoutAGapOrALap(t *testing.T) {
	for _, size := range []int64{1, chunk.Size - 1, chunk.Size, chunk.Size + 1, 2 * chunk.Size, 64 << 20} {
		var sum int64
		n := chunk.Count(size)
		for i := range n {
			l := chunk.Length(size, i)
			if l <= 0 || l > chunk.Size {
				t.Fatalf("%d bytes: chunk %d has %d", size, i, l)
			}
			sum += int64(l)
		}
		if sum != size || chunk.Length(size, n) > 0 {
			t.Errorf("%d bytes: %d chunks of %d", size, n, sum)
		}
	}
}

// RFC 4231 tests HMAC-SHA-256 itself; here stands what it is taken of, computed
// with Python's hmac module.
func TestTheNameOfAPieceStaysWhatItWas(t *testing.T) {
	n := chunk.NameOf(events.ShopID{1, 15: 2}, content)
	if got := hex.EncodeToString(n[:]); got != wantName {
		t.Errorf("%s, want %s", got, wantName)
	}
	if n == chunk.NameOf(events.ShopID{1, 15: 3}, content) || n == chunk.NameOf(events.ShopID{1, 15: 2}, events.Hash{1}) {
		t.Error("another piece has the same name")
	}
	if h := sha256.Sum256(content[:]); bytes.HasPrefix(h[:], n[:4]) {
		t.Error("the name is a hash that anybody can make")
	}
}

// Every bit of a sealed chunk that is changed is found, and so is a chunk in
// another's place (F18).
func TestAChangedOrMovedChunkIsRefused_P10_F18(t *testing.T) {
	shop, other := eventstest.FoundShop(t, 1).ID, eventstest.FoundShop(t, 2).ID
	b := sealed(t, shop, 1, []byte("the inside of the door"))
	for i := range len(b) * 8 {
		c := bytes.Clone(b)
		c[i/8] ^= 1 << (i % 8)
		if _, err := chunk.Open(c, shop, content, 1, keys); !known(err) {
			t.Fatalf("bit %d: %v", i, err)
		}
	}
	for n := range b {
		if _, err := chunk.Open(b[:n], shop, content, 1, keys); !known(err) {
			t.Fatalf("%d bytes: %v", n, err)
		}
	}
	for what, c := range map[string]struct {
		shop    events.ShopID
		content events.Hash
		number  uint32
	}{"another shop": {other, content, 1}, "another piece": {shop, events.Hash{1}, 1}, "another place": {shop, content, 2}} {
		if _, err := chunk.Open(b, c.shop, c.content, c.number, keys); !errors.Is(err, chunk.ErrOther) {
			t.Errorf("%s: %v", what, err)
		}
	}
	none := func(uint32) []seal.Key { return nil }
	if _, err := chunk.Open(b, shop, content, 1, none); !errors.Is(err, chunk.ErrNoKey) {
		t.Errorf("without a key: %v", err)
	}
	if _, err := chunk.Open(make([]byte, chunk.MaxSealed+1), shop, content, 1, keys); !errors.Is(err, chunk.ErrTooLarge) {
		t.Errorf("too large: %v", err)
	}
}

func known(err error) bool {
	for _, k := range []error{chunk.ErrMalformed, chunk.ErrTooLarge, chunk.ErrNewer, chunk.ErrOther, chunk.ErrNoKey, chunk.ErrSeal} {
		if errors.Is(err, k) {
			return true
		}
	}
	return false
}

// keptRoot is where kept chunks lie. Its README names the shop and its key.
const keptRoot = "../../testdata/chunks"

var addGolden = flag.String("add-golden", "", "write the kept bytes of the named example, if it has none yet")

var examples = map[string]string{"1-first": "the inside of the door, as received"}

func kept(t *testing.T) eventstest.Kept {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	return eventstest.Kept{
		Root:  keptRoot,
		Names: slices.Sorted(maps.Keys(examples)),
		Make:  func(t *testing.T, name string) []byte { return sealed(t, shop, 0, []byte(examples[name])) },
		Read: func(b []byte) (string, error) {
			p, err := chunk.ReadPlace(b)
			if err != nil {
				return "", err
			}
			plain, err := chunk.Open(b, shop, content, p.Number, keys)
			return fmt.Sprintf("shop tag  %s\nname      %x\nnumber    %d\nepoch     %d\nbytes     %q\n", p.Shop, p.Name, p.Number, p.Epoch, plain), err
		},
	}
}

// An exchange of any year must be read by any later program.
func TestGoldenChunksOpenForEver(t *testing.T) { kept(t).Check(t) }

func TestGoldenReadmeNamesTheShopAndTheKey(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	kept(t).CheckReadme(t, hex.EncodeToString(shop[:]), hex.EncodeToString(key[:]), fmt.Sprintf("epoch %d", epoch))
}

func TestGoldenAddRefusesToWriteBytesAgain(t *testing.T) { kept(t).CheckAdd(t) }

// With -add-golden this writes the bytes of one example.
func TestGoldenAdd(t *testing.T) {
	if *addGolden == "" {
		return
	}
	if err := kept(t).Add(t, *addGolden); err != nil {
		t.Fatal(err)
	}
}

// No bytes from outside stop the program; what opens was sealed as this chunk, and
// where a chunk says that it belongs is written as it stands in it (P10, F18).
func FuzzOpen(f *testing.F) {
	shop := events.ShopID{1}
	b := sealed(f, shop, 0, []byte("hums"))
	f.Add(b)
	f.Add(sealed(f, shop, 1, []byte("hums")))
	f.Add(b[:len(b)-1])
	f.Add(b[:60])
	f.Add([]byte("oldhchk\x02"))
	f.Fuzz(func(t *testing.T, got []byte) {
		plain, err := chunk.Open(got, shop, content, 0, keys)
		if err != nil && (!known(err) || plain != nil) {
			t.Fatalf("%v with %d bytes", err, len(plain))
		}
		if err == nil && !bytes.Equal(got, b) {
			t.Fatalf("opened %q, which nobody sealed", plain)
		}
		p, err := chunk.ReadPlace(got)
		if err != nil {
			if !known(err) {
				t.Fatalf("place: %v", err)
			}
			return
		}
		clear := append(bytes.Clone(b[:8]), p.Shop[:]...)
		clear = binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(append(clear, p.Name[:]...), p.Number), p.Epoch)
		if !bytes.HasPrefix(got, clear) {
			t.Fatalf("%x is read as %+v", got[:60], p)
		}
	})
}
