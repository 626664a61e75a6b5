package web

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/sync/bundle"
)

// mostBundle is how large a bundle may be that is brought to the page: more than
// ten million events.
const mostBundle = 4 << 30

// brought are bundles that were brought to the page and not taken in yet, each in a
// folder of its own beside the shop's store.
type brought struct {
	dir string

	mu    sync.Mutex
	files []*broughtFile // the last first
}

type broughtFile struct {
	ID, Name, path string
	Peeked         app.Peeked
}

// mostBrought is how many wait to be taken in.
const mostBrought = 3

// openBrought drops what an earlier run left.
func openBrought(dir string) (*brought, error) {
	b := &brought{dir: filepath.Join(dir, "brought")}
	return b, b.close()
}

func (b *brought) close() error { return os.RemoveAll(b.dir) }

// save writes what comes to a file of the name that it came with.
func (b *brought) save(name string, from io.Reader) (f *broughtFile, err error) {
	f = &broughtFile{ID: strings.ToLower(rand.Text()[:12]), Name: plainName(name)}
	f.path = filepath.Join(b.dir, f.ID, f.Name)
	if err := os.MkdirAll(filepath.Dir(f.path), 0o700); err != nil {
		return nil, err
	}
	to, err := os.OpenFile(f.path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	_, err = io.Copy(to, from)
	if err = errors.Join(err, to.Close()); err != nil {
		return nil, errors.Join(err, f.drop())
	}
	return f, nil
}

func (f *broughtFile) drop() error { return os.RemoveAll(filepath.Dir(f.path)) }

// add keeps a file until it is taken in, or others came since.
func (b *brought) add(f *broughtFile) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.files = slices.Insert(b.files, 0, f)
	var errs []error
	for len(b.files) > mostBrought {
		errs = append(errs, b.files[mostBrought].drop())
		b.files = b.files[:mostBrought]
	}
	return errors.Join(errs...)
}

func (b *brought) by(id string) *broughtFile {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, f := range b.files {
		if f.ID == id {
			return f
		}
	}
	return nil
}

func (b *brought) remove(f *broughtFile) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.files = slices.DeleteFunc(b.files, func(o *broughtFile) bool { return o == f })
	return f.drop()
}

// plainName is a file's name without what a name should not have.
func plainName(s string) string {
	s = s[strings.LastIndexAny(s, `/\`)+1:]
	s = strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`"*:<>?|`, r) {
			return -1
		}
		return r
	}, s)
	if s = strings.Trim(s, ". "); s == "" || len(s) > 100 {
		return "bundle.oh"
	}
	return s
}

// bundleOut writes what this bench has into a file and sends it.
func bundleOut(q *request) error {
	since, fields, err := q.nextFile("since")
	if err != nil {
		return err
	}
	what := app.Carry{NoNames: fields["no-names"] != ""}
	if since != nil {
		older, err := q.s.brought.save(since.FileName(), since)
		if err != nil {
			return err
		}
		defer func() { _ = older.drop() }() // it goes with the next start at the latest
		what.Since = older.path
	}
	out, err := q.s.brought.save("bundle.oh", strings.NewReader(""))
	if err != nil {
		return err
	}
	defer func() { _ = out.drop() }()
	if _, err := q.shop.WriteBundle(out.path, what); err != nil {
		return named(err, out.path, "the file")
	}
	return q.sendCarried(out.path, "")
}

// photosOut writes the photos and recordings of this bench into a file and sends it.
func photosOut(q *request) error {
	out, err := q.s.brought.save("bundle.oh"+bundle.PhotosEnding, strings.NewReader(""))
	if err != nil {
		return err
	}
	defer func() { _ = out.drop() }()
	if _, err := q.shop.WritePhotos(out.path); err != nil {
		return named(err, out.path, "the file")
	}
	return q.sendCarried(out.path, bundle.PhotosEnding)
}

// sendCarried sends what was written, under a name that says what it is.
func (q *request) sendCarried(path, ending string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	name := fmt.Sprintf("%s-%s-%s.oh%s", fileWord(q.shop.Card.Name), fileWord(q.shop.Card.Bench), q.s.opt.now().Format("2006-01-02"), ending)
	return q.sendFile(f, info.Size(), "application/octet-stream", name)
}

// sendFile sends a file that the browser keeps.
func (q *request) sendFile(r io.Reader, size int64, kind, name string) error {
	q.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	q.w.Header().Set("Content-Type", kind)
	q.w.Header().Set("Content-Length", fmt.Sprint(size))
	if _, err := io.Copy(q.w, r); err != nil {
		q.s.opt.Log.Debug("answer not sent", "why", err.Error()) // the browser went away
	}
	return nil
}

// sendBytes is sendFile of bytes.
func (q *request) sendBytes(b []byte, kind, name string) error {
	return q.sendFile(bytes.NewReader(b), int64(len(b)), kind, name)
}

// named puts a file's own name in place of where it lies.
func named(err error, path, name string) error {
	var notWhole *app.NotWhole
	var wrong *app.Wrong
	if errors.As(err, &notWhole) && notWhole.Path == path {
		notWhole.Path = name
	}
	if errors.As(err, &wrong) && wrong.What == path {
		wrong.What = name
	}
	return err
}

// fileWord is a name as it may stand in a file's name anywhere.
func fileWord(s string) string {
	word := strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return '-'
	}, s)
	return strings.Trim(word, "-")
}

// bundleLook takes a file to look what is in it. Nothing of it goes into the log.
func bundleLook(q *request) error {
	file, _, err := q.nextFile("file")
	if err != nil {
		return err
	}
	if file == nil {
		return &app.Wrong{What: "the file", Why: "none was chosen"}
	}
	f, err := q.s.brought.save(file.FileName(), file)
	if err != nil {
		return formError(err)
	}
	if f.Peeked, err = q.shop.PeekBundle(f.path); err != nil {
		return errors.Join(named(err, f.path, f.Name), f.drop())
	}
	if err := q.s.brought.add(f); err != nil {
		return err
	}
	return q.goTo("/benches/bundle/" + f.ID)
}

// carried is what a bundle holds, before it is taken in.
type carried struct {
	File  *broughtFile
	Bytes string
	Rows  table
	Form  *form
}

func bundlePage(q *request) error {
	c, err := q.carried(q.r.PathValue("file"))
	if err != nil {
		return err
	}
	return q.show("bundle", "What is in "+c.File.Name, c)
}

func (q *request) carried(id string) (*carried, error) {
	f := q.s.brought.by(id)
	if f == nil {
		return nil, &app.NotHere{Unit: "the file", Why: "is not here any more: it was taken in, or others came since; bring it again"}
	}
	c := &carried{File: f, Bytes: app.SizeText(f.Peeked.Bytes), Rows: table{Caption: "What it holds", Head: []string{"bench", "events", "not here yet"}, Numbers: map[int]bool{1: true, 2: true}}}
	for _, b := range f.Peeked.Benches {
		c.Rows.Rows = append(c.Rows.Rows, []cell{{Text: b.Name}, {Text: fmt.Sprint(b.Events)}, {Text: fmt.Sprint(b.New)}})
	}
	for i, said := range f.Peeked.Says {
		f.Peeked.Says[i] = capital(said)
	}
	c.Form = &form{ID: "take", Action: "/benches/bundle/take", Submit: "Take it in", Once: newOnce(), Hidden: map[string]string{"file": f.ID}}
	return c, nil
}

func bundleTake(q *request) error {
	c, err := q.carried(q.r.PostFormValue("file"))
	if err != nil {
		return err
	}
	return q.post(c.Form, func() (string, []notice, error) {
		m, err := q.shop.ReadBundle(c.File.path, nil)
		if err != nil {
			return "", nil, named(err, c.File.path, c.File.Name)
		}
		if err := q.s.brought.remove(c.File); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", nil, err
		}
		said := []notice{{Words: fmt.Sprintf("%s is read: %s taken.", c.File.Name, events.Count(m.Took, "event"))}}
		if m.Names > 0 {
			said = append(said, notice{Words: fmt.Sprintf("The keys of %s taken.", events.Count(m.Names, "customer"))})
		}
		if b := m.Attached; b != nil {
			said = []notice{{Words: fmt.Sprintf("%s is read: %s taken.", c.File.Name, events.Count(b.Took, "photo or recording", "photos and recordings"))}}
			m.NotHeeded = append(m.NotHeeded, b.Says...)
		}
		for _, w := range append(m.WaitsFor, m.NotHeeded...) {
			said = append(said, notice{Words: capital(w) + ".", Warn: true})
		}
		return "/benches", said, nil
	}, func() error { return q.show("bundle", "What is in "+c.File.Name, c) })
}
