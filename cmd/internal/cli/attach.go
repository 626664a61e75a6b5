package cli

import (
	"errors"
	"os"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/sync/meet"

	"github.com/spf13/cobra"
)

func (e *env) attach() *cobra.Command {
	var what string
	c := e.act("attach UNIT FILE...", "keep photos, recordings or papers of a unit", 2, -1, func(s *app.Shop, w app.Who, a []string) (saved app.Saved, err error) {
		files, end, err := openFiles(a[1:])
		if err != nil {
			return saved, err
		}
		defer func() { err = errors.Join(err, end()) }()
		return s.Attach(a[0], w, what, files...)
	})
	c.Long = "Keep photos (JPEG, PNG, GIF, WebP), recordings (WAV, MP3, M4A, Ogg) or papers (PDF) of a\nunit, at most 64 MiB each. What a file is, is read in it and not in its name. The original\nis kept as it is; what is shown of a photo is upright, smaller, and without the place where\nit was taken. They come to the other benches with oldhand sync."
	c.Flags().StringVar(&what, "what", "", "what they show, such as \"as received\"")
	return c
}

// openFiles opens all files before anything is kept of one.
func openFiles(paths []string) (files []app.File, end func() error, err error) {
	var open []*os.File
	end = func() (err error) {
		for _, f := range open {
			err = errors.Join(err, f.Close())
		}
		return err
	}
	for _, p := range paths {
		f, err := os.Open(p)
		if err != nil {
			return nil, nil, errors.Join(err, end())
		}
		open = append(open, f)
		if info, err := f.Stat(); err != nil || info.IsDir() {
			return nil, nil, errors.Join(err, &app.Wrong{What: p, Why: "is a folder; name the files in it"}, end())
		}
		files = append(files, app.File{Name: p, Content: f})
	}
	return files, end, nil
}

func (e *env) attachments() *cobra.Command {
	var out string
	c := &cobra.Command{Use: "attachments UNIT", Short: "list a unit's photos, recordings and papers, or copy them out", Args: args(1, 1, "UNIT [--out FOLDER]"),
		Long: "List the photos, recordings and papers in a unit's past: whether each is at this bench, and\nif it is not, at which it was attached. With --out their originals are copied into a folder;\nnothing there is overwritten. The original of a photo may say where it was taken."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		return e.read(func(s *app.Shop) error {
			if out != "" {
				list, err := s.CopyEvidence(a[0], out)
				if err != nil {
					return err
				}
				return e.answer(list, func() { e.tellCopied(list) })
			}
			list, err := s.Evidence(a[0])
			if err != nil {
				return err
			}
			return e.answer(list, func() { e.tellAttachments(list) })
		})
	}
	c.Flags().StringVar(&out, "out", "", "copy them into this `folder`")
	return c
}

func (e *env) tellAttachments(list []app.Attachment) {
	if len(list) == 0 {
		e.printf("nothing is attached to it\n")
		return
	}
	rows := [][]string{{"day", "what", "name", "size", "shows", "where"}}
	for _, a := range list {
		rows = append(rows, []string{day(a.At), a.Sort, a.Name, app.SizeText(a.Size), a.What, orWord(a.Here, "here", a.Where)})
	}
	for _, line := range columns(rows) {
		e.printf("%s\n", line)
	}
}

func orWord(yes bool, word, other string) string {
	if yes {
		return word
	}
	return other
}

func (e *env) tellCopied(list []app.CopiedOut) {
	if len(list) == 0 {
		e.printf("nothing is attached to it\n")
	}
	for _, c := range list {
		if c.File != "" {
			e.printf("%s: %s\n", c.File, c.Line())
		} else {
			e.printf("not copied: %s %s: %s\n", c.Sort, c.Name, c.Why)
		}
	}
}

// piecesByEvent are the photos and recordings by the entry that names them.
func piecesByEvent(list []app.Attachment) map[string]app.Attachment {
	by := map[string]app.Attachment{}
	for _, a := range list {
		by[a.Event] = a
	}
	return by
}

// lineOf is an entry's line; of a photo or recording it says where it is.
func lineOf(l app.PastLine, pieces map[string]app.Attachment) string {
	if a, ok := pieces[l.Event]; ok {
		return a.Line()
	}
	return l.Line
}

func (e *env) tellBrought(b *app.Brought) {
	if b == nil {
		return
	}
	if b.Took+b.Gave > 0 {
		e.printf("  photos and recordings: %d taken, %d given\n", b.Took, b.Gave)
	}
	for _, s := range b.Says {
		e.printf("  %s\n", s)
	}
}

// bringProgress tells now and then how far photos and recordings are.
func (e *env) bringProgress() func(meet.PiecesMet) {
	next := time.Now().Add(2 * time.Second)
	return func(m meet.PiecesMet) {
		if time.Now().After(next) {
			next = time.Now().Add(2 * time.Second)
			e.note(app.ProgressText(m))
		}
	}
}

func (e *env) tellVerifiedPieces(v app.VerifiedPieces) {
	if v.Here+v.Away > 0 {
		e.printf("%s here, %s; %d at other benches\n", events.Count(v.Here, "photo or recording", "photos and recordings"), sizeOrNone(v.Bytes), v.Away)
	}
}

func sizeOrNone(n int64) string {
	if s := app.SizeText(n); s != "" {
		return s
	}
	return "0 bytes"
}
