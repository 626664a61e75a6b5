package web

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/evidence"
)

// A unit's photos, recordings and papers: a page to look at them and to give
// further ones, from a phone's camera too.

// filesView is that page.
type filesView struct {
	Ref, Tag, Name string
	Alive          string
	Files          []fileView
	What, By       string
	Most           string
	Error          *trouble
}

// fileView is one of them.
type fileView struct {
	app.Attachment
	Day     string
	Words   string // what it is of
	Bytes   string
	Photo   bool
	Sound   bool
	Content string
}

func keptFiles(q *request) error { return q.filesPage(q.r.PathValue("unit"), nil, nil) }

// filesPage draws the page, after a form that failed with what was typed.
func (q *request) filesPage(named string, typed map[string]string, err error) error {
	alive, no := q.alive(named)
	if no != nil {
		return no
	}
	u, no := q.shop.PastOf(named)
	if no != nil {
		return no
	}
	list, no := q.shop.Evidence(named)
	if no != nil {
		return no
	}
	v := filesView{Ref: refOf(u.Tag, u.Unit), Tag: u.Tag, Name: nameOf(u.Maker, u.Model), Alive: alive, What: typed["what"], By: typed["by"], Most: fmt.Sprintf("%d MiB", evidence.MaxSize>>20)}
	for _, a := range list {
		v.Files = append(v.Files, viewOf(a))
	}
	if err != nil {
		v.Error, q.status = troubleOf(err), statusOf(err)
	}
	if q.wantsPart() {
		return q.part("files", "shelf", v)
	}
	return q.show("files", "Photos of "+v.Name, v)
}

func viewOf(a app.Attachment) fileView {
	f := fileView{Attachment: a, Day: dayOf(a.At), Content: a.Content, Photo: a.Sort == "photo", Sound: a.Sort == "recording", Bytes: app.SizeText(a.Size)}
	f.Words = a.What
	if f.Words == "" {
		f.Words = a.Sort
	}
	return f
}

// attach takes files one by one as they come. What was kept before one that is
// refused stays kept: sending all again attaches nothing twice.
func attach(q *request) error {
	named := q.asked("unit")
	parts, err := q.r.MultipartReader()
	if err != nil {
		return q.filesPage(named, nil, formError(err))
	}
	typed := map[string]string{}
	kept, had, failed := 0, 0, error(nil)
	for failed == nil {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			failed = formError(err)
			break
		}
		if p.FileName() == "" {
			if p.FormName() != "files" {
				text, err := io.ReadAll(io.LimitReader(p, mostWord))
				typed[p.FormName()], failed = strings.TrimSpace(string(text)), err
			}
			continue
		}
		saved, err := q.shop.Attach(named, app.Who{By: typed["by"]}, typed["what"], app.File{Name: p.FileName(), Content: p})
		kept, had, failed = kept+len(saved.Events), had+1-min(1, len(saved.Events)), err
	}
	if failed == nil && kept+had == 0 {
		failed = &app.Wrong{What: "the file", Why: "was not chosen"}
	}
	if failed != nil {
		return q.filesPage(named, typed, failed)
	}
	words := events.Count(kept, "file") + " kept."
	if had > 0 {
		words += fmt.Sprintf(" %s here already.", choose(had == 1, "1 was", fmt.Sprintf("%d were", had)))
	}
	return q.goTo("/unit/"+named+"/files", notice{Words: words})
}

// mostWord is how much is read of a text that comes with files.
const mostWord = 4096

// forms are the forms in which a file is fetched.
var forms = map[string]app.Form{"": app.Original, "view": app.View, "thumb": app.Thumb}

// oneFile gives one file. A name is stored by its content, so a browser may keep
// what it was given for a while. Whatever somebody attached is nothing that this
// page runs: only sounds and the program's own views are shown in place.
func oneFile(q *request) error {
	if v := q.visitor; v != nil && !v.Customers {
		return &app.NotAllowed{Why: "a photo or a recording may say what a customer is called, which " + v.Name + " is not shown"}
	}
	form, ok := forms[q.asked("form")]
	if !ok {
		return &app.Wrong{What: "form", Why: "is view, thumb or nothing"}
	}
	h, err := app.ParseContent(q.r.PathValue("content"))
	if err != nil {
		return err
	}
	piece, err := q.shop.OpenEvidence(h, form)
	if err != nil {
		return err
	}
	defer piece.Close()
	head := q.w.Header()
	head.Set("Content-Type", piece.Type)
	head.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	head.Set("Cache-Control", "private, max-age=600")
	head.Set("ETag", `"`+h.String()+q.asked("form")+`"`)
	if form == app.Original && evidence.Sort(piece.Type) != "recording" {
		name := evidence.CleanName(q.asked("name"))
		if name == "" {
			name = h.String()[:12]
		}
		head.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	}
	http.ServeContent(q.w, q.r, "", time.Time{}, piece)
	return nil
}
