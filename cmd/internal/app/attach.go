package app

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/evidence"
	"oldhand/projections"
)

// evidenceDir is where a folder's photos and recordings are.
const evidenceDir = "evidence"

// File is a file that is given to be kept. Its name may be any.
type File struct {
	Name    string
	Content io.Reader
}

// pieces is the store of photos and recordings.
func (s *Shop) pieces() *evidence.Store {
	return evidence.New(evidence.Options{Dir: filepath.Join(s.Dir, evidenceDir), LeastFree: evidence.DefaultLeastFree})
}

// Attach keeps photos, recordings or papers of a unit, and says of what they are.
// Their bytes are on disk before an entry names them, and all entries are one
// action. A file that stands in the unit's past already is not attached twice.
func (s *Shop) Attach(typed string, w Who, what string, files ...File) (saved Saved, err error) {
	if err := s.attachable(typed, what, files); err != nil {
		return saved, err
	}
	var list []events.EvidenceAttached
	for _, f := range files {
		p, err := s.pieces().Put(f.Content)
		if err != nil {
			return saved, notKept(f.Name, err)
		}
		list = append(list, events.EvidenceAttached{Content: p.Content, Name: evidence.CleanName(f.Name), Type: p.Type, Size: p.Size, Text: what})
	}
	var notes, lines []string
	saved, err = s.record(typed, w, func(_ *eventlog.Tx, h *projections.History) (bodies []events.Body, err error) {
		had := attachedTo(h)
		notes, lines = nil, nil
		for i, b := range list {
			if had[b.Content] {
				notes = append(notes, fmt.Sprintf("%s is attached to %s already", orElse(files[i].Name, "the file"), unitName(h)))
				continue
			}
			had[b.Content] = true
			bodies, lines = append(bodies, b), append(lines, attachmentLine(b))
		}
		return bodies, nil
	})
	for i := range saved.Events {
		saved.Events[i].Line = lines[i]
	}
	saved.Notes = append(saved.Notes, notes...)
	return saved, err
}

// attachable refuses, before a byte is kept, what could not be saved.
func (s *Shop) attachable(typed, what string, files []File) error {
	if len(files) == 0 {
		return &Wrong{"attach", "name a file"}
	}
	if len(what) > events.MaxText {
		return &Wrong{"what it shows", fmt.Sprintf("is %d bytes long, at most %d", len(what), events.MaxText)}
	}
	if err := s.Log.Err(); err != nil {
		return err
	}
	return s.view(func(v *eventlog.View) error {
		_, err := Resolve(v, typed)
		return err
	})
}

// attachedTo are the pieces that stand in a unit's past.
func attachedTo(h *projections.History) map[events.Hash]bool {
	had := map[events.Hash]bool{}
	for _, e := range entriesOf(h) {
		if b, ok := e.Decode().(events.EvidenceAttached); ok {
			had[b.Content] = true
		}
	}
	return had
}

// notKept says in words why a file was not kept.
func notKept(name string, err error) error {
	switch {
	case errors.Is(err, evidence.ErrTooLarge):
		return &Wrong{name, "is " + evidence.ErrTooLarge.Error()}
	case errors.Is(err, evidence.ErrType):
		return &Wrong{name, "is " + evidence.ErrType.Error()}
	case errors.Is(err, evidence.ErrFilm):
		return &Wrong{name, "is " + evidence.ErrFilm.Error()}
	case errors.Is(err, evidence.ErrFull):
		return fmt.Errorf("%s: %w, because %w", name, eventlog.ErrReadOnly, err)
	}
	return fmt.Errorf("%s: %w", name, err)
}
