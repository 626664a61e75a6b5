package bundle_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/bundle"
	"oldhand/sync/chunk"
	"oldhand/sync/seal"
)

// sealedChunks are n small chunks of one piece of a shop.
func sealedChunks(t testing.TB, shop events.ShopID, n int) (list [][]byte) {
	t.Helper()
	random := eventstest.Seeded(8)
	for i := range n {
		b, err := chunk.Seal(shop, epoch, seal.Key(key), events.Hash{0x88}, uint32(i), fmt.Appendf(nil, "the inside of the door, %d", i), random)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, b)
	}
	return list
}

func photosFile(t testing.TB, shop events.ShopID, chunks [][]byte) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "stick.oh.photos")
	err := bundle.WritePhotos(path, shop, eventstest.Seeded(9), func(p *bundle.Photos) error {
		for _, c := range chunks {
			if err := p.Add(c); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func readPhotos(file []byte, shop events.ShopID) (got [][]byte, rep bundle.PhotosReport, err error) {
	rep, err = bundle.ReadPhotos(bytes.NewReader(file), shop, func(sealed []byte) error {
		got = append(got, bytes.Clone(sealed))
		return nil
	})
	return got, rep, err
}

// photosSum is the SHA-256 of a file of three chunks: its bytes are a format for ever.
const photosSum = "cbf403b243832a7db66d3db59b692ce9b8f32f198acc169d5319fdcd8eb459b0"

func TestAFileOfPhotosGivesWhatWasPutIn(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	chunks := sealedChunks(t, shop, 3)
	file := photosFile(t, shop, chunks)
	if h := sha256.Sum256(file); hex.EncodeToString(h[:]) != photosSum {
		t.Errorf("its bytes are others: %x", h)
	}
	got, rep, err := readPhotos(file, shop)
	if err != nil || rep.Err() != nil || !slices.EqualFunc(got, chunks, bytes.Equal) {
		t.Errorf("%d chunks, %v, %v", len(got), rep.Err(), err)
	}
	if !bundle.IsPhotos(file) || bundle.IsPhotos([]byte("oldhbun")) {
		t.Error("it is not told from a bundle")
	}
	if _, err := bundle.Read(bytes.NewReader(file), shop, keys, func([]byte) error { return nil }); !errors.Is(err, bundle.ErrNotBundle) {
		t.Errorf("read as a bundle: %v", err)
	}
	if _, _, err := readPhotos(file, eventstest.FoundShop(t, 2).ID); !errors.Is(err, bundle.ErrOtherShop) {
		t.Errorf("another shop: %v", err)
	}
	newer := bytes.Clone(file)
	newer[7] = 9
	if _, _, err := readPhotos(newer, shop); !errors.Is(err, bundle.ErrNewer) {
		t.Errorf("a newer file: %v", err)
	}
	err = bundle.WritePhotos(filepath.Join(t.TempDir(), "x"), shop, eventstest.Seeded(9), func(p *bundle.Photos) error {
		if p.Room(bundle.MaxPhotos) || !p.Room(64<<20) {
			t.Error("what has room is not told from what has none")
		}
		return p.Add(sealedChunks(t, eventstest.FoundShop(t, 2).ID, 1)[0])
	})
	if !errors.Is(err, bundle.ErrOtherShop) {
		t.Errorf("a chunk of another shop: %v", err)
	}
}

// Wherever a file is cut, the chunks before the cut come, and it is said to be cut;
// wherever a bit is turned, nothing that is given is another than what was put in, and
// the file is said not to be whole (F18).
func TestACutOrDamagedFileOfPhotosGivesWhatIsWhole_P9_P10_F18(t *testing.T) {
	shop := eventstest.FoundShop(t, goldenSeed).ID
	chunks := sealedChunks(t, shop, 3)
	file := photosFile(t, shop, chunks)
	most := 0
	for n := range file {
		got, rep, err := readPhotos(file[:n], shop)
		if err == nil && !errors.Is(rep.Err(), bundle.ErrCut) || err != nil && !errors.Is(err, bundle.ErrCut) && !errors.Is(err, bundle.ErrNotBundle) {
			t.Fatalf("cut at %d: %v, %v", n, rep.Err(), err)
		}
		if len(got) < most || !slices.EqualFunc(got, chunks[:len(got)], bytes.Equal) {
			t.Fatalf("cut at %d: %d chunks", n, len(got))
		}
		most = len(got)
	}
	if most != len(chunks) {
		t.Errorf("%d chunks before the end", most)
	}
	for i := range file {
		c := bytes.Clone(file)
		c[i] ^= 1 << (i % 8)
		got, rep, err := readPhotos(c, shop)
		if err == nil && rep.Err() == nil {
			t.Fatalf("byte %d turned: nobody says so", i)
		}
		for _, g := range got {
			if !slices.ContainsFunc(chunks, func(have []byte) bool { return bytes.Equal(have, g) }) {
				t.Fatalf("byte %d turned: a chunk that was never put in", i)
			}
		}
	}
}
