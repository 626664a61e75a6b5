package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// form is a form as it is drawn: with what was typed, and what is wrong with it.
type form struct {
	ID      string // of its element, and the part of the page that it is in
	Action  string
	Submit  string   // the word on its button
	Buttons []option // in place of that: the value of "do", and the word on each
	Fields  []*field
	Once    string   // see doneOnce
	Error   *trouble // above the fields
	Hidden  map[string]string
	Small   bool   // it stands in a line with others
	Reread  string // where it is drawn again with what was typed and how that is read, without script
	Propose int    // a year made that it offers, 0 for none
	Offer   *offer

	sent url.Values // all that was posted, also what no field shows
}

// field is one field of a form.
type field struct {
	Name, Label string
	Key         string // for its element, where several have one name
	Value       string
	Hint        string
	Error       string
	Kind        string   // text, where it is not said; area, lines (one that Enter does not send), select, radio, number, date, email, tel, checkbox
	Echo        string   // which echo reads it back while it is typed; see echo.go
	Read        string   // what the echo said
	Follows     bool     // the echo is asked anew when another field changes
	Options     []option // of a select or of radio buttons
	Suggest     []string // for a text
	Required    bool
	Focus       bool // the first to type in
	Wide        bool
}

// offer is a further button of a form: it puts a word that no table has into its
// table, and saves the form.
type offer struct{ Value, Label string }

type option struct{ Value, Label string }

// field is a field by its name; nil where there is none.
func (f *form) field(name string) *field {
	for _, x := range f.Fields {
		if x.Name == name {
			return x
		}
	}
	return nil
}

// value is what was typed into a field.
func (f *form) value(name string) string {
	if x := f.field(name); x != nil {
		return x.Value
	}
	return ""
}

// take reads what was typed into the fields.
func (f *form) take(r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return formError(err)
	}
	f.sent = r.PostForm
	f.fill(r.PostForm)
	f.Once = r.PostForm.Get("once")
	return nil
}

// fill puts values into the fields, as far as there are any.
func (f *form) fill(v url.Values) {
	for _, x := range f.Fields {
		if v.Has(x.Name) {
			x.Value = oneBreak(v.Get(x.Name))
			x.offer(x.Value)
			if x.Echo != "" {
				x.Read, _ = readBack(x.Echo, x.Value, v) // why not is said when it is sent
			}
		}
	}
}

// offer has a value in a select: a word that it does not offer, or no more, must
// not become another one.
func (x *field) offer(value string) {
	if x.Kind == "select" && value != "" && !slices.ContainsFunc(x.Options, func(o option) bool { return o.Value == value }) {
		x.Options = append(x.Options, option{value, value})
	}
}

// oneBreak is a text as it was typed: a browser sends two bytes for the end of a
// line (HTML Living Standard, 4.10.22.4).
func oneBreak(text string) string {
	return strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n"))
}

func formError(err error) error {
	if errors.As(err, new(*http.MaxBytesError)) {
		return err
	}
	return &app.Wrong{What: "the form", Why: err.Error()}
}

// blame puts an error beside the field that it is about, or above them all.
func (f *form) blame(err error) {
	var wrong *app.Wrong
	var invalid *events.Invalid
	var none *app.NoWord
	if errors.As(err, &none) {
		f.offerWord(none)
		err = &app.Wrong{What: none.Table + " " + none.Typed, Why: noWordWords(none)}
	}
	switch {
	case errors.As(err, &wrong):
		name, _, _ := strings.Cut(strings.TrimPrefix(wrong.What, "--"), " ")
		for _, x := range f.Fields {
			if x.Name == name || strings.HasPrefix(strings.ToLower(wrong.What)+" ", strings.ToLower(x.Label)+" ") {
				x.Error = wrong.Why
				return
			}
		}
	case errors.As(err, &invalid):
		// Clauses begin with the kind and the field: "received: serial: 9000 bytes, at most ...".
		for _, x := range f.Fields {
			if _, about, _ := strings.Cut(invalid.Clause, ": "); strings.HasPrefix(about, x.Name+":") || strings.HasPrefix(about, strings.ToLower(x.Label)+":") {
				x.Error = invalid.Clause
				return
			}
		}
	}
	f.Error = troubleOf(err)
}

// post takes a form, does what it is for, once, and sends the browser on. If that
// fails, again draws the page with the form, what was typed, and what is wrong.
func (q *request) post(f *form, do func() (path string, said []notice, err error), again func() error) error {
	err := f.take(q.r)
	if err == nil {
		var path string
		var said []notice
		if path, said, err = q.s.done.act(f.Once, do); err == nil {
			return q.goTo(path, said...)
		}
	}
	f.blame(err)
	q.status = statusOf(err)
	return again()
}
