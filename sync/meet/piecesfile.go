package meet

import (
	"errors"
	"fmt"
	"io"

	"oldhand/events/evidence"
	"oldhand/sync/bundle"
	"oldhand/sync/chunk"
)

// GivePieces adds the photos and recordings that are here to a file, the newest first.
// Lacking counts those that are not here, and Large those that are left for their size
// or for the file's.
func GivePieces(e Errand, to *bundle.Photos) (met PiecesMet, err error) {
	epoch, key, ok := e.Sealing()
	if !ok {
		return met, fmt.Errorf("give photos and recordings: %w", chunk.ErrNoKey)
	}
	for _, n := range e.Named {
		size, here, err := e.Store.Size(n.Content)
		switch {
		case err != nil:
			return met, err
		case !here:
			met.Lacking++
			continue
		case size > e.UpTo, !to.Room(size):
			met.Large++
			continue
		}
		f, err := e.Store.Open(n.Content)
		if errors.Is(err, evidence.ErrDamaged) || errors.Is(err, evidence.ErrNotHere) {
			met.Lacking++ // verify names what is damaged, and a meeting mends it
			continue
		}
		if err != nil {
			return met, err
		}
		for number := range chunk.Count(size) {
			plain := make([]byte, chunk.Length(size, number))
			if _, err = f.ReadAt(plain, int64(number)*chunk.Size); err != nil {
				break
			}
			var sealed []byte
			if sealed, err = chunk.Seal(e.Shop, epoch, key, n.Content, number, plain, e.Random); err == nil {
				err = to.Add(sealed)
			}
			if err != nil {
				break
			}
		}
		if err = errors.Join(err, f.Close()); err != nil {
			return met, fmt.Errorf("give piece %s: %w", n.Content.Short(), err)
		}
		met.Gave++
		met.Bytes += size
	}
	return met, nil
}

// TakePieces keeps the photos and recordings of a file that entries name and that are
// not here. A piece goes on where it was cut the last time, and what is here of one that
// the file breaks off in stays for the next. What nobody wants is passed over.
func TakePieces(e Errand, from io.Reader) (met PiecesMet, rep bundle.PhotosReport, err error) {
	t := fileTaker{Errand: e, wanted: map[chunk.Name]Named{}}
	for _, n := range e.Named {
		_, here, err := e.Store.Size(n.Content)
		if err != nil {
			return met, rep, err
		}
		if here || n.Size <= 0 || n.Size > e.UpTo {
			continue
		}
		if dropped, err := e.Store.Dropped(n.Content); err != nil || dropped {
			if err != nil {
				return met, rep, err
			}
			continue
		}
		t.wanted[chunk.NameOf(e.Shop, n.Content)] = n
	}
	if t.fetch, err = e.Store.Fetch(); err != nil {
		return met, rep, err
	}
	defer func() { err = errors.Join(err, t.fetch.Close()) }()
	rep, err = bundle.ReadPhotos(from, e.Shop, t.chunk)
	err = errors.Join(err, t.leave())
	t.met.Lacking += len(t.wanted)
	return t.met, rep, err
}

// fileTaker takes pieces out of a file.
type fileTaker struct {
	Errand
	fetch  *evidence.Fetching
	wanted map[chunk.Name]Named // by name in the file; what is kept or no good is taken out
	coming *evidence.Coming     // the piece whose chunks come; nil for none
	name   chunk.Name           // of it
	met    PiecesMet
}

// leave ends the piece that is coming. What is here of it stays.
func (t *fileTaker) leave() error {
	if t.coming == nil {
		return nil
	}
	c := t.coming
	t.coming = nil
	return c.Close()
}

// without gives a piece up, as far as this file goes, and counts why.
func (t *fileTaker) without(count *int) error {
	*count++
	delete(t.wanted, t.name)
	return t.leave()
}

func (t *fileTaker) chunk(sealed []byte) error {
	at, err := chunk.ReadPlace(sealed)
	if err != nil {
		return nil // of a newer program, or nothing: it can't be said of which piece
	}
	n, ok := t.wanted[at.Name]
	if !ok || t.met.NoRoom {
		return nil
	}
	if t.coming == nil || t.name != at.Name {
		if more, err := t.begin(n, at.Name); err != nil || !more {
			return err
		}
	}
	switch next := uint32(t.coming.Have() / chunk.Size); {
	case at.Number < next:
		return nil // it came the last time
	case at.Number > next:
		return t.without(&t.met.Lacking) // one before it was damaged
	}
	plain, err := chunk.Open(sealed, t.Shop, n.Content, at.Number, t.Keys)
	switch {
	case errors.Is(err, chunk.ErrNoKey):
		return t.without(&t.met.Waiting)
	case err != nil, len(plain) != chunk.Length(n.Size, at.Number):
		return t.without(&t.met.Refused)
	}
	if err := t.coming.Add(plain); err != nil {
		return t.full(err)
	}
	t.met.Bytes += int64(len(plain))
	return t.keepWhole(n)
}

// begin begins with a piece, or goes on with it; more is false where none of its chunks
// is needed.
func (t *fileTaker) begin(n Named, name chunk.Name) (more bool, err error) {
	if err := t.leave(); err != nil {
		return false, err
	}
	t.name = name
	if t.coming, err = t.fetch.Piece(n.Content, n.Size, chunk.Size); err != nil {
		t.coming = nil
		return false, t.full(err)
	}
	err = t.keepWhole(n) // all of it may be here, and not kept yet
	return t.coming != nil, err
}

// full notes that the disk is, after which nothing more is taken.
func (t *fileTaker) full(err error) error {
	if !errors.Is(err, evidence.ErrFull) {
		return err
	}
	t.met.NoRoom = true
	return t.leave()
}

// keepWhole keeps the piece that is coming once all of it is here.
func (t *fileTaker) keepWhole(n Named) error {
	if t.coming.Have() < n.Size {
		return nil
	}
	err := t.coming.Keep()
	if errors.Is(err, evidence.ErrDamaged) {
		return t.without(&t.met.Refused)
	}
	if err != nil {
		return t.full(err)
	}
	return t.without(&t.met.Took)
}
