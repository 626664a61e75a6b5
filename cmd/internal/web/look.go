package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"

	"oldhand/cmd/internal/picture"
)

//go:embed templates/*.html static/*
var files embed.FS

// look is the templates and the files that go with every page, as they are
// built in. Nothing of it changes while the program runs.
type look struct {
	pages  map[string]*template.Template // by file name, each with the frame and the parts
	files  map[string]file               // by the name in addresses
	names  map[string]string             // of those, by the name in the source
	favico file
}

type file struct {
	body []byte
	kind string
}

func newLook() (*look, error) {
	l := &look{pages: map[string]*template.Template{}, files: map[string]file{}, names: map[string]string{}}
	if err := l.readFiles(); err != nil {
		return nil, err
	}
	return l, l.readTemplates()
}

// readFiles names each file by what is in it, so that a browser may keep it for
// ever and never shows an old one.
func (l *look) readFiles() error {
	entries, err := fs.ReadDir(files, "static")
	if err != nil {
		return err
	}
	for _, e := range entries {
		ext := path.Ext(e.Name())
		if ext != ".css" && ext != ".js" && ext != ".svg" {
			continue // what belongs to the source only
		}
		b, err := fs.ReadFile(files, "static/"+e.Name())
		if err != nil {
			return err
		}
		if e.Name() == "page.css" {
			b = append(b, "\n/* pictures */\n"+picture.Stylesheet()...)
		}
		sum := sha256.Sum256(b)
		named := strings.TrimSuffix(e.Name(), ext) + "-" + hex.EncodeToString(sum[:6]) + ext
		l.files[named] = file{b, mime.TypeByExtension(ext)}
		l.names[e.Name()] = named
	}
	l.favico = l.files[l.names["icon.svg"]]
	return nil
}

func (l *look) readTemplates() error {
	base, err := template.New("").Funcs(functions(l)).ParseFS(files, "templates/frame.html", "templates/parts.html")
	if err != nil {
		return err
	}
	entries, err := fs.ReadDir(files, "templates")
	if err != nil {
		return err
	}
	for _, e := range entries {
		t, err := base.Clone()
		if err == nil {
			_, err = t.ParseFS(files, "templates/"+e.Name())
		}
		if err != nil {
			return fmt.Errorf("template %s: %w", e.Name(), err)
		}
		l.pages[strings.TrimSuffix(e.Name(), ".html")] = t
	}
	return nil
}

// draw writes one block of a page's template.
func (l *look) draw(b *bytes.Buffer, page, block string, v any) error {
	t := l.pages[page]
	if t == nil {
		return fmt.Errorf("draw page %s: it has no template", page)
	}
	from := b.Len()
	err := t.ExecuteTemplate(b, block, v)
	unturn(b.Bytes()[from:])
	return err
}

// serve sends a file.
func (l *look) serve(w http.ResponseWriter, r *http.Request) {
	f, ok := l.files[r.PathValue("file")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	f.send(w)
}

// icon answers browsers that ask for one at the place of old.
func (l *look) icon(w http.ResponseWriter, _ *http.Request) { l.favico.send(w) }

func (f file) send(w http.ResponseWriter) {
	w.Header().Set("Content-Type", f.kind)
	_, _ = w.Write(f.body) // a browser that went away needs nothing
}

// inPage is a picture without the style it carries: the page's stylesheet has
// it, and lets no other in.
func inPage(svg []byte) template.HTML {
	before, rest, found := bytes.Cut(svg, []byte("<style>"))
	if _, after, ok := bytes.Cut(rest, []byte("</style>\n")); found && ok {
		svg = append(bytes.Clone(before), after...)
	}
	return template.HTML(svg) // made by package picture, which escapes what was typed
}
