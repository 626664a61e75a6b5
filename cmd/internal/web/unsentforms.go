package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"oldhand/cmd/internal/app"
)

// Nothing that is typed at the bench is lost. While somebody types, forms.js sends
// what the form holds; it is kept in the shop's folder (app.Unsent) and put back
// into the form when it is drawn again, on whatever window, until it is saved or
// thrown away. A form that was not saved is kept by the room that refused it, so
// that this goes without script too.

// kept says which kept form a page's form is.
type kept struct {
	Form  string // its name
	About string // the unit's id; nothing for a unit that is not here yet
	Since string // when what is in the form was typed, where it was put back
	Back  string // the page's address
}

// putBack fills a form with what was typed into it and not saved.
func (q *request) putBack(f *form, k *kept) error {
	u, err := q.shop.UnsentOf(k.Form, k.About)
	if err != nil || u == nil {
		return err
	}
	f.fill(u.Values)
	f.keepHidden(u.Values)
	f.Once, k.Since = u.Once, u.At.Local().Format("2006-01-02 15:04")
	return nil
}

// keepHidden keeps what a form was drawn from.
func (f *form) keepHidden(v url.Values) {
	for name := range f.Hidden {
		if v.Has(name) {
			f.Hidden[name] = v.Get(name)
		}
	}
}

// Names of what says which form is sent to be kept.
const (
	keptForm  = "kept-form"
	keptAbout = "kept-about"
)

// keepUnsent keeps what a form holds while it is typed in.
func keepUnsent(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	if err := q.keep(q.r.PostForm.Get(keptForm), q.r.PostForm.Get(keptAbout), q.r.PostForm); err != nil {
		return err
	}
	q.w.WriteHeader(http.StatusNoContent)
	return nil
}

// keep keeps values, or drops what was kept where a form was emptied.
func (q *request) keep(form, about string, v url.Values) error {
	u := app.Unsent{Form: form, About: about, Once: v.Get("once"), Values: map[string][]string{}}
	typed := false
	for name, values := range v {
		switch name {
		case "once", keptForm, keptAbout, addWord:
			continue
		}
		u.Values[name] = values
		typed = typed || !drawnWith(name) && strings.Join(values, "") != ""
	}
	if !typed {
		return q.shop.DropUnsent(form, about)
	}
	return q.shop.KeepUnsent(u)
}

// drawnWith reports whether a value only says what a form was drawn from.
func drawnWith(name string) bool {
	before, _, ok := strings.Cut(name, "-")
	return name == "seen" || ok && (before == "habit" || before == "was" || before == "number")
}

// dropUnsent throws away what a form held.
func dropUnsent(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	v := q.r.PostForm
	if err := q.shop.DropUnsent(v.Get(keptForm), v.Get(keptAbout)); err != nil {
		return err
	}
	return q.goTo(backTo(v.Get("back")), notice{Words: "What was typed there is thrown away."})
}

// backTo is a page that a form says it is from.
func backTo(back string) string {
	if !strings.HasPrefix(back, "/") || strings.HasPrefix(back, "//") || strings.Contains(back, `\`) {
		return "/" // no page of this program sends that
	}
	return back
}

// save takes a form of the bench and does what it is for, once: also when it is
// sent again after the program was started anew. What goes wrong leaves what was
// typed in the form and kept.
func (q *request) save(f *form, k kept, do func(s *app.Shop) (path string, said []notice, err error), again func() error) error {
	err := f.take(q.r)
	if err == nil {
		words := wordsOf(f.sent)
		var path string
		var said []notice
		path, said, err = q.s.done.act(f.Once+" "+words, func() (string, []notice, error) {
			added, err := q.addOffered(f)
			if err != nil {
				return "", nil, err
			}
			path, said, err := do(q.shop.Once(f.Once, words))
			return path, append(added, said...), err
		})
		if twice := (*app.Twice)(nil); errors.As(err, &twice) && twice.Same {
			path, said, err = choose(twice.Unit != "", "/unit/"+twice.Unit+"/bench", k.Back), []notice{{Words: "That was saved already, the first time it was sent."}}, nil
		}
		if err == nil {
			q.dropped(k)
			return q.goTo(path, said...)
		}
	}
	if errors.As(err, new(*app.Twice)) {
		f.Once = newOnce()
	}
	if f.sent != nil { // else nothing of it could be read, as of what is too large
		f.keepHidden(f.sent)
		q.keptAfter(f, k)
	}
	f.blame(err)
	f.focusWrong()
	q.status = statusOf(err)
	return again()
}

// wordsOf stands for all that a form says.
func wordsOf(sent url.Values) string {
	v := url.Values{}
	for name, values := range sent {
		if name != "once" && name != "seen" {
			v[name] = values
		}
	}
	sum := sha256.Sum256([]byte(v.Encode()))
	return hex.EncodeToString(sum[:])
}

// dropped throws away what was kept of a form that is saved. A file that stays is
// known for saved by the form's id.
func (q *request) dropped(k kept) {
	if err := q.shop.DropUnsent(k.Form, k.About); err != nil {
		q.s.opt.Log.Warn("kept form not dropped", "why", err.Error())
	}
}

// keptAfter keeps a form that was not saved. Where that does not go either, the
// page that comes has it all the same.
func (q *request) keptAfter(f *form, k kept) {
	v := url.Values{}
	for name, values := range f.sent {
		v[name] = values
	}
	v.Set("once", f.Once)
	if err := q.keep(k.Form, k.About, v); err != nil {
		q.s.opt.Log.Warn("form not kept", "why", err.Error())
	}
}

// focusWrong puts the keyboard where something is wrong.
func (f *form) focusWrong() {
	for _, x := range f.Fields {
		if x.Error != "" {
			for _, other := range f.Fields {
				other.Focus = other == x
			}
			return
		}
	}
}
