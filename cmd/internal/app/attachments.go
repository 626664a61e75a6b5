package app

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"oldhand/cmd/internal/photo"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/evidence"
	"oldhand/projections"
)

// Attachment is a photo, recording or paper in a unit's past.
type Attachment struct {
	Event   string `json:"event"`
	At      string `json:"at"`
	By      string `json:"by,omitempty"`
	Visit   int    `json:"visit,omitempty"` // which of the unit's, from 1; 0 between visits
	Name    string `json:"name,omitempty"`
	Sort    string `json:"sort"` // photo, recording, document; file where a newer version knows what it is
	Type    string `json:"type"` // media type
	Size    int64  `json:"size"` // bytes
	What    string `json:"what,omitempty"`
	Content string `json:"content"` // SHA-256, 64 hexadecimal digits
	Here    bool   `json:"here"`
	Where   string `json:"where,omitempty"` // in words, where it is if it is not here
}

func attachmentOf(e projections.Entry, b events.EvidenceAttached, visit int) Attachment {
	return Attachment{Event: e.ID.String(), At: e.At.String(), By: e.By, Visit: visit, Name: b.Name, Type: b.Type, Sort: orElse(evidence.Sort(b.Type), "file"),
		Size: b.Size, What: b.Text, Content: b.Content.String()}
}

// Line says what it is in one line.
func (a Attachment) Line() string {
	line := joinWords(strings.TrimSpace(a.Sort+" "+a.Name), SizeText(a.Size), a.What)
	if a.Where != "" {
		line += " (" + a.Where + ")"
	}
	return line
}

func attachmentLine(b events.EvidenceAttached) string {
	return attachmentOf(projections.Entry{}, b, 0).Line()
}

// SizeText is a size for people; empty for none.
func SizeText(n int64) string {
	switch {
	case n <= 0:
		return ""
	case n < 1000:
		return fmt.Sprintf("%d bytes", n)
	case n < 1_000_000:
		return fmt.Sprintf("%.0f kB", float64(n)/1000)
	}
	if n < 10_000_000_000 {
		return fmt.Sprintf("%.1f MB", float64(n)/1_000_000)
	}
	return fmt.Sprintf("%.0f GB", float64(n)/1_000_000_000)
}

// Evidence lists the photos, recordings and papers in a unit's past.
func (s *Shop) Evidence(typed string) (list []Attachment, err error) {
	list = []Attachment{}
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		all, err := s.attachments(v, h)
		list = append(list, all...)
		return err
	})
	return list, err
}

// attachments are those of a unit, in the order of its past.
func (s *Shop) attachments(r projections.Reader, h *projections.History) (list []Attachment, err error) {
	add := func(entries []projections.Entry, visit int) {
		for _, e := range entries {
			if b, ok := e.Decode().(events.EvidenceAttached); ok {
				list = append(list, attachmentOf(e, b, visit))
			}
		}
	}
	add(h.Loose, 0)
	for i, v := range h.Visits {
		add(v.Entries, i+1)
	}
	away := false
	for i := range list {
		if err := s.find(&list[i]); err != nil {
			return nil, err
		}
		away = away || !list[i].Here
	}
	if !away {
		return list, nil
	}
	return list, s.sayWhere(r, h, list)
}

// addAttachments puts a unit's photos, recordings and papers into their visits.
func (s *Shop) addAttachments(u *PastUnit, r projections.Reader, h *projections.History) error {
	list, err := s.attachments(r, h)
	for _, a := range list {
		at := &u.Attachments
		if a.Visit > 0 {
			at = &u.Visits[a.Visit-1].Attachments
		}
		*at = append(*at, a)
	}
	return err
}

// find looks whether a piece is here.
func (s *Shop) find(a *Attachment) error {
	h, err := ParseContent(a.Content)
	if err != nil {
		return err
	}
	size, here, err := s.pieces().Size(h)
	if a.Here = here; here {
		a.Size = size
	}
	return err
}

// ParseContent reads the hash of a piece.
func ParseContent(text string) (h events.Hash, err error) {
	if !readHash(&h, text) {
		return h, &Wrong{"piece " + text, "is no hash: want 64 hexadecimal digits"}
	}
	return h, nil
}

// sayWhere says of pieces that are not here at which bench they were attached.
func (s *Shop) sayWhere(r projections.Reader, h *projections.History, list []Attachment) error {
	byID, err := unitEvents(r, h)
	if err != nil {
		return err
	}
	roster, err := s.Roster()
	if err != nil {
		return err
	}
	benches := map[string]events.BenchID{}
	for id, e := range byID {
		benches[id.String()] = e.Feed.Bench
	}
	for i := range list {
		if a := &list[i]; !a.Here {
			if a.Where, err = s.where(a.Content, benches[a.Event], benchNames(roster)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *Shop) where(content string, bench events.BenchID, names func(events.BenchID) string) (string, error) {
	h, err := ParseContent(content)
	if err != nil {
		return "", err
	}
	dropped, err := s.pieces().Dropped(h)
	switch {
	case err != nil:
		return "", err
	case dropped:
		return "dropped at this bench", nil
	case bench == events.BenchID{}:
		return "not here", nil
	case bench == s.Log.Bench():
		return "lost at this bench; it comes back from one that has it", nil
	}
	return "at bench " + names(bench), nil
}

// Form is in which form a piece is wanted.
type Form int

// The forms. A view is a JPEG, upright, without what the camera wrote beside the
// picture; recordings and papers have none.
const (
	Original Form = iota
	View          // at most photo.LargeSide pixels
	Thumb         // at most photo.SmallSide
)

// OpenPiece is a piece that can be read.
type OpenPiece struct {
	io.ReadSeeker
	io.Closer
	Type string // media type, by what is in it; "application/octet-stream" where that is not known
	Size int64  // bytes
}

// NoView is returned when a view of something is wanted that has none.
type NoView struct{ Type string }

func (e *NoView) Error() string { return "no picture can be shown of " + orElse(e.Type, "this file") }

// OpenEvidence opens a piece that is here. What is given was compared with its
// hash. It fails with *Away where it is not here, with *NoView, with
// evidence.ErrDamaged, and with photo.ErrTooLarge or photo.ErrUnreadable for a view.
func (s *Shop) OpenEvidence(h events.Hash, form Form) (*OpenPiece, error) {
	if form != Original {
		return s.openView(h, form)
	}
	f, err := s.pieces().Open(h)
	if err != nil {
		return nil, s.notOpened(h, err)
	}
	return &OpenPiece{f, f, orElse(f.Type, "application/octet-stream"), f.Size()}, nil
}

func (s *Shop) openView(h events.Hash, form Form) (*OpenPiece, error) {
	b, err := s.pieces().View(h, "view.jpg", func(f *evidence.File) ([]byte, error) {
		if evidence.Sort(f.Type) != "photo" {
			return nil, &NoView{f.Type}
		}
		return photo.Make(f, photo.LargeSide)
	})
	if err == nil && form == Thumb {
		large := b
		b, err = s.pieces().View(h, "thumb.jpg", func(*evidence.File) ([]byte, error) {
			return photo.Make(strings.NewReader(string(large)), photo.SmallSide)
		})
	}
	if err != nil {
		return nil, s.notOpened(h, err)
	}
	return &OpenPiece{strings.NewReader(string(b)), io.NopCloser(nil), "image/jpeg", int64(len(b))}, nil
}

// Away is returned when a piece is not at this bench.
type Away struct {
	Content string
	Where   string // in words
}

func (e *Away) Error() string {
	return fmt.Sprintf("the file is not here: %s", e.Where)
}

// Unwrap says that it is not here.
func (e *Away) Unwrap() error { return evidence.ErrNotHere }

func (s *Shop) notOpened(h events.Hash, err error) error {
	if !errors.Is(err, evidence.ErrNotHere) {
		return err
	}
	all, no := s.named()
	if no != nil {
		return errors.Join(err, no)
	}
	roster, no := s.Roster()
	if no != nil {
		return errors.Join(err, no)
	}
	where, no := s.where(h.String(), all.bench(h), benchNames(roster))
	if no != nil {
		return errors.Join(err, no)
	}
	return &Away{h.String(), where}
}

// DropEvidence takes a piece away from this bench. The entry that names it stays,
// and the piece is not fetched again unless it is attached once more.
func (s *Shop) DropEvidence(h events.Hash) error {
	if err := s.Log.Err(); err != nil {
		return err
	}
	return s.pieces().Drop(h)
}

// CopiedOut is a piece that was written to a file, or why not.
type CopiedOut struct {
	Attachment
	File string `json:"file,omitempty"`
	Why  string `json:"why,omitempty"`
}

// CopyEvidence writes the originals of a unit's photos, recordings and papers into
// a folder, under names that are safe there. It overwrites nothing.
func (s *Shop) CopyEvidence(typed, folder string) ([]CopiedOut, error) {
	list, err := s.Evidence(typed)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	out := []CopiedOut{}
	for _, a := range list {
		c := CopiedOut{Attachment: a, Why: a.Where}
		if a.Here {
			if c.File, err = s.copyOut(a, folder); errors.Is(err, evidence.ErrDamaged) {
				c.Why, err = "damaged on this bench's disk", nil
			}
			if err != nil {
				return out, err
			}
		}
		out = append(out, c)
	}
	return out, nil
}

func (s *Shop) copyOut(a Attachment, folder string) (path string, err error) {
	h, err := ParseContent(a.Content)
	if err != nil {
		return "", err
	}
	p, err := s.OpenEvidence(h, Original)
	if err != nil {
		return "", err
	}
	defer p.Close()
	f, err := createFree(folder, evidence.FileName(a.Name, p.Type))
	if err != nil {
		return "", err
	}
	_, err = io.Copy(f, p)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return "", errors.Join(err, os.Remove(f.Name()))
	}
	return f.Name(), nil
}

// createFree makes a file under a name, or under one like it that is not used.
func createFree(folder, name string) (f *os.File, err error) {
	ending := filepath.Ext(name)
	for n := 1; n < 10_000; n++ {
		try := name
		if n > 1 {
			try = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(name, ending), n, ending)
		}
		if f, err = os.OpenFile(filepath.Join(folder, try), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644); !errors.Is(err, os.ErrExist) {
			return f, err
		}
	}
	return nil, err
}
