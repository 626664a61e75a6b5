package app

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

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
func (s *Shop) readPhotos(path string, tell func(string)) (*Brought, error) {
	return takeFile(s, path, func(f *os.File, b *replicate.Bench) (*Brought, error) { return s.takePhotos(path, f, b, tell) })
}

func (s *Shop) takePhotos(path string, f *os.File, b *replicate.Bench, tell func(string)) (*Brought, error) {
	e, err := s.errand(b)
	if err != nil {
		return nil, err
	}
	e.UpTo = evidence.MaxSize
	met, report, err := takeInTurn(e, f, tell)
	took := broughtOf(met, e.UpTo)
	switch {
	case errors.Is(err, evidence.ErrBusy):
		return took, &PhotosBusy{File: filepath.Base(path)}
	case err != nil:
		return took, notRead(path, err)
	case report.Err() != nil:
		return took, &NotWhole{Path: path, Why: report.Err(), What: fmt.Sprintf("%d photos and recordings", met.Took)}
	}
	return took, nil
}

// fetchPatience is how long a file of photos waits for another who fetches some into
// the folder: most of what is fetched is there sooner, and the folder is held meanwhile.
var fetchPatience = 10 * time.Second

// takeInTurn takes the pieces of a file once nobody else fetches any: two that wrote the
// same piece at once could change one that is kept. Nothing is read before it may.
func takeInTurn(e meet.Errand, from io.Reader, tell func(string)) (met meet.PiecesMet, report bundle.PhotosReport, err error) {
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		met, report, err = meet.TakePieces(e, from)
		if !errors.Is(err, evidence.ErrBusy) || time.Since(begun) > fetchPatience {
			return met, report, err
		}
		if tell != nil {
			tell("photos and recordings are being fetched into this folder; those of the file wait for it, a few seconds")
			tell = nil
		}
	}
}

// PhotosBusy is returned when a file of photos and recordings could not be read, because
// others are being fetched into the folder. Nothing of it was taken.
type PhotosBusy struct{ File string }

func (e *PhotosBusy) Error() string {
	return fmt.Sprintf("the photos and recordings of %s were not read: others are still being fetched into this folder; read it again when that is through", e.File)
}

// ReadBundle takes in what a file holds, and the photos and recordings of the file that
// lies beside it, if there is one. A file of photos and recordings can be read alone.
// Where that has to wait, tell is called with why; it may be nil. What can't be read of
// photos since others are fetched for long keeps back nothing else, and is said.
func (s *Shop) ReadBundle(path string, tell func(string)) (m Met, err error) {
	if only, err := holdsPhotos(path); err != nil || only {
		if err != nil {
			return m, err
		}
		m.With = filepath.Base(path)
		m.Attached, err = s.readPhotos(path, tell)
		return m, err
	}
	if m, err = s.readBundle(path); err != nil {
		return m, err
	}
	beside := path + bundle.PhotosEnding
	if _, no := os.Stat(beside); errors.Is(no, fs.ErrNotExist) {
		return m, nil
	}
	m.Attached, err = s.readPhotos(beside, tell)
	var busy *PhotosBusy
	if errors.As(err, &busy) {
		m.Attached.Says, err = append(m.Attached.Says, busy.Error()), nil
	}
	return m, err
}
