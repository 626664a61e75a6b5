package app

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"oldhand/events/evidence"
	"oldhand/sync/bundle"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
)

// Photos and recordings go into a file of their own beside a bundle, sealed as they are
// on their way to an exchange. So a bundle stays what older programs read, is small
// enough for a mail, and is read first: what the photos are of stands in its entries.

// CarriedPhotos says what a file of photos and recordings holds.
type CarriedPhotos struct {
	File    string `json:"file"`
	Pieces  int    `json:"pieces"`
	Bytes   int64  `json:"bytes"`    // of the file
	Away    int    `json:"away"`     // that entries name and that are not at this bench
	LeftOut int    `json:"left_out"` // for which the file has no room
}

// Says are the words on what is not in it.
func (c CarriedPhotos) Says() (says []string) {
	if c.Away > 0 {
		says = append(says, fmt.Sprintf("%d are not at this bench, and not in the file", c.Away))
	}
	if c.LeftOut > 0 {
		says = append(says, fmt.Sprintf("%d are left out, the oldest: a file on a stick has at most 4 GB; they travel with oldhand sync", c.LeftOut))
	}
	return says
}

// WritePhotos writes the photos and recordings that are at this bench into a file.
func (s *Shop) WritePhotos(path string) (c CarriedPhotos, err error) {
	s.meeting.Lock()
	defer s.meeting.Unlock()
	if err := s.ensureKey(); err != nil {
		return c, err
	}
	b, err := s.replica()
	if err != nil {
		return c, err
	}
	e, err := s.errand(b)
	if err != nil {
		return c, err
	}
	if _, _, ok := e.Sealing(); !ok {
		return c, ErrNoShopKey
	}
	e.UpTo = evidence.MaxSize
	var met meet.PiecesMet
	err = bundle.WritePhotos(path, s.Log.Shop(), rand.Reader, func(to *bundle.Photos) (err error) {
		met, err = meet.GivePieces(e, to)
		return err
	})
	if err != nil {
		return c, err
	}
	info, err := os.Stat(path)
	if err != nil {
		return c, err
	}
	return CarriedPhotos{path, met.Gave, info.Size(), met.Lacking, met.Large}, nil
}

// holdsPhotos reports whether a file is one of photos and recordings.
func holdsPhotos(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	head := make([]byte, 16)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false, err
	}
	return bundle.IsPhotos(head[:n]), nil
}

// checkPhotos refuses a file of another shop or of a newer program; that it is cut or
// damaged is said when what is whole of it is taken.
func (s *Shop) checkPhotos(f *os.File) error {
	enough := errors.New("enough was read")
	_, err := bundle.ReadPhotos(f, s.Log.Shop(), func([]byte) error { return enough })
	if err == nil || errors.Is(err, enough) {
		return nil
	}
	return notRead(filepath.Base(f.Name()), err)
}

// readPhotos takes in the photos and recordings of a file that are not here and that
// entries here name.
func (s *Shop) readPhotos(path string) (*Brought, error) {
	return takeFile(s, path, func(f *os.File, b *replicate.Bench) (*Brought, error) { return s.takePhotos(path, f, b) })
}

func (s *Shop) takePhotos(path string, f *os.File, b *replicate.Bench) (*Brought, error) {
	e, err := s.errand(b)
	if err != nil {
		return nil, err
	}
	e.UpTo = evidence.MaxSize
	met, report, err := meet.TakePieces(e, f)
	took := broughtOf(met, e.UpTo)
	switch {
	case errors.Is(err, evidence.ErrBusy):
		return took, &NotHere{"the folder for photos and recordings", "is in use: another oldhand fetches into it; try again when it is through"}
	case err != nil:
		return took, notRead(path, err)
	case report.Err() != nil:
		return took, &NotWhole{Path: path, Why: report.Err(), What: fmt.Sprintf("%d photos and recordings", met.Took)}
	}
	return took, nil
}

// ReadBundle takes in what a file holds, and the photos and recordings of the file that
// lies beside it, if there is one. A file of photos and recordings can be read alone.
func (s *Shop) ReadBundle(path string) (m Met, err error) {
	if only, err := holdsPhotos(path); err != nil || only {
		if err != nil {
			return m, err
		}
		m.With = filepath.Base(path)
		m.Attached, err = s.readPhotos(path)
		return m, err
	}
	if m, err = s.readBundle(path); err != nil {
		return m, err
	}
	beside := path + bundle.PhotosEnding
	if _, no := os.Stat(beside); errors.Is(no, fs.ErrNotExist) {
		return m, nil
	}
	m.Attached, err = s.readPhotos(beside)
	return m, err
}
