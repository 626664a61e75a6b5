package meet_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"oldhand/events"
	"oldhand/events/evidence"
	"oldhand/sync/bundle"
	"oldhand/sync/chunk"
	"oldhand/sync/meet"
	"oldhand/sync/seal"
)

// fileErrand is what a bench has and wants when there is no exchange.
func (a *album) fileErrand(bench int) meet.Errand {
	return meet.Errand{
		Shop: a.shop, Store: a.stores[bench], Named: a.named, UpTo: evidence.MaxSize, Random: rand.Reader,
		Keys:    func(uint32) []seal.Key { return []seal.Key{a.secret} },
		Sealing: func() (uint32, seal.Key, bool) { return 1, a.secret, true },
	}
}

func (a *album) toFile(t *testing.T, bench int) ([]byte, meet.PiecesMet) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "stick.oh.photos")
	var met meet.PiecesMet
	check(t, bundle.WritePhotos(path, a.shop, rand.Reader, func(p *bundle.Photos) (err error) {
		met, err = meet.GivePieces(a.fileErrand(bench), p)
		return err
	}))
	b, err := os.ReadFile(path)
	check(t, err)
	return b, met
}

func (a *album) hasWhole(t *testing.T, bench int, h events.Hash) bool {
	t.Helper()
	f, err := a.stores[bench].Open(h)
	if errors.Is(err, evidence.ErrNotHere) {
		return false
	}
	check(t, err)
	_, err = io.Copy(io.Discard, f)
	check(t, errors.Join(err, f.Close()))
	return true
}

// Photos and recordings go in a file: whole, in parts over several readings of a file
// that was cut, and not twice (F18); the file tells nobody what is on them.
func TestPhotosGoInAFileWholeOrInParts_F18(t *testing.T) {
	a := newAlbum(t)
	sizes := []int{3*chunk.Size + 17, 900, 2 * chunk.Size, 40_000}
	var all []events.Hash
	for _, size := range sizes {
		all = append(all, a.photo(t, 0, size))
	}
	gone := a.photo(t, -1, 5000) // an entry names it, and it is elsewhere
	file, met := a.toFile(t, 0)
	if met.Gave != len(all) || met.Lacking != 1 || bytes.Contains(file, []byte("CANARY")) {
		t.Fatalf("gave %+v", met)
	}

	// Cut anywhere, what is whole comes; what began goes on with the next copy.
	took := 0
	for n := 0; n < len(file); n += 61_000 {
		got, rep, err := meet.TakePieces(a.fileErrand(1), bytes.NewReader(file[:n]))
		if err == nil && rep.Err() == nil || err != nil && !errors.Is(err, bundle.ErrCut) && !errors.Is(err, bundle.ErrNotBundle) {
			t.Fatalf("cut at %d: %v, %v", n, rep.Err(), err)
		}
		took += got.Took
	}
	got, rep, err := meet.TakePieces(a.fileErrand(1), bytes.NewReader(file))
	check(t, errors.Join(err, rep.Err()))
	if took += got.Took; took != len(all) || got.Refused != 0 || got.Lacking != 1 {
		t.Errorf("took %d in all, at last %+v", took, got)
	}
	if int(got.Bytes) > 3*chunk.Size {
		t.Errorf("what was here already was taken again: %d bytes", got.Bytes)
	}
	for _, h := range all {
		if !a.hasWhole(t, 1, h) {
			t.Errorf("piece %s is not there", h.Short())
		}
	}
	if a.hasWhole(t, 1, gone) {
		t.Error("a piece that was in no file is there")
	}
	if again, _, err := meet.TakePieces(a.fileErrand(1), bytes.NewReader(file)); err != nil || again.Took+int(again.Bytes) != 0 {
		t.Errorf("read twice: %+v, %v", again, err)
	}

	// A chunk in the middle is damaged: the others come, and a fresh copy mends it.
	spoiled := bytes.Clone(file)
	spoiled[len(spoiled)-chunk.MaxSealed] ^= 1
	part, rep, err := meet.TakePieces(a.fileErrand(2), bytes.NewReader(spoiled))
	check(t, err)
	if !errors.Is(rep.Err(), bundle.ErrDamaged) || part.Took != len(all)-1 {
		t.Errorf("of a damaged file: %+v, %v", part, rep.Err())
	}
	mend, rep, err := meet.TakePieces(a.fileErrand(2), bytes.NewReader(file))
	if check(t, errors.Join(err, rep.Err())); mend.Took != 1 {
		t.Errorf("of a fresh copy: %+v", mend)
	}
}

// A file that another key sealed waits for the key, and what its writer puts in place of
// a piece is not kept.
func TestAFileOfPhotosThatIsNoGoodIsNotKept_P10(t *testing.T) {
	a := newAlbum(t)
	h := a.photo(t, 0, chunk.Size+5)
	file, _ := a.toFile(t, 0)
	e := a.fileErrand(1)
	e.Keys = func(uint32) []seal.Key { return nil }
	met, _, err := meet.TakePieces(e, bytes.NewReader(file))
	if err != nil || met.Waiting != 1 || met.Took != 0 {
		t.Errorf("without the key: %+v, %v", met, err)
	}
	path := filepath.Join(t.TempDir(), "false")
	check(t, bundle.WritePhotos(path, a.shop, rand.Reader, func(p *bundle.Photos) error {
		for n := range chunk.Count(chunk.Size + 5) {
			b, err := chunk.Seal(a.shop, 1, a.secret, h, n, make([]byte, chunk.Length(chunk.Size+5, n)), rand.Reader)
			if err := errors.Join(err, p.Add(b)); err != nil {
				return err
			}
		}
		return nil
	}))
	b, err := os.ReadFile(path)
	check(t, err)
	met, _, err = meet.TakePieces(a.fileErrand(1), bytes.NewReader(b))
	if err != nil || met.Refused != 1 || met.Took != 0 || a.hasWhole(t, 1, h) {
		t.Errorf("other bytes under its name: %+v, %v", met, err)
	}
	met, _, err = meet.TakePieces(a.fileErrand(1), bytes.NewReader(file))
	if err != nil || met.Took != 1 {
		t.Errorf("and then the right ones: %+v, %v", met, err)
	}
}
