package web

import (
	"fmt"
	"io"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/evidence"
)

// mostFile is how large a file may be that is given on the page: a job book of
// half a million rows. A larger one is read in by command.
const mostFile = 64 << 20

// reading is the page where a file is given.
type reading struct {
	Hand  []handLine
	Error *trouble
	Most  string
}

type handLine struct{ ID, Name, State string }

func importing(q *request) error { return q.importPage(nil) }

func (q *request) importPage(err error) error {
	v := reading{Most: fmt.Sprintf("%d MB", mostFile>>20)}
	if err != nil {
		v.Error, q.status = troubleOf(err), statusOf(err)
	}
	for _, k := range q.s.books.all() {
		v.Hand = append(v.Hand, handLine{k.id, k.name, k.state()})
	}
	return q.show("import", "Read a book in", v)
}

func (k *book) state() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	switch {
	case k.running != "":
		return "is being " + k.running
	case k.failed != nil:
		return "stopped: " + k.failed.Error()
	case k.taken != nil || k.events != nil:
		return "is taken in"
	case k.tried != nil:
		return "was tried without writing"
	}
	return "was looked at; nothing is taken so far"
}

// importFile takes a file into hand.
func importFile(q *request) error {
	given, _, err := q.nextFile("file")
	if err == nil && given == nil {
		err = &app.Wrong{What: "the file", Why: "was not chosen"}
	}
	if err != nil {
		return q.importPage(err)
	}
	name := evidence.CleanName(given.FileName())
	data, err := io.ReadAll(given)
	if err != nil {
		return q.importPage(formError(err))
	}
	f, err := q.shop.LookAt(data)
	if err != nil {
		return q.importPage(err)
	}
	k, err := q.s.books.add(name, f)
	if err != nil {
		return q.importPage(err)
	}
	return q.goTo("/import/" + k.id)
}

// bookView is a file in hand, as its page shows it.
type bookView struct {
	ID, Name, Kind string
	IsBook         bool
	Lacks          string // why the columns are not enough
	Columns        []columnLine
	Settings       []*field
	Sheet          string // what to know of the choice of a sheet
	Doubt          string
	Unused         string
	Seen           *table
	Sums           []string
	Error          *trouble

	Running string
	Done    string
	Tried   *resultView
	Taken   *resultView
	Events  string
}

// resultView is what trying or taking came to.
type resultView struct {
	Words   string
	Refused *table
	More    int // refused rows that are not shown
	Left    *table
	Pairs   []pairView
}

type pairView struct {
	A, B  unitLine
	Said  string // how it was answered
	First string // tags, for the form
	Other string
}

const (
	seenRows     = 10
	shownRefused = 200
	shownLeft    = 20
	shownPairs   = 100
)

func oneBook(q *request) error {
	k, err := q.s.books.by(q.r.PathValue("book"))
	if err != nil {
		return err
	}
	if q.wantsPart() {
		return q.part("book", "going", k.view(nil))
	}
	return q.bookPage(k, nil)
}

func (q *request) bookPage(k *book, err error) error {
	if err != nil {
		q.status = statusOf(err)
	}
	return q.show("book", k.name, k.view(err))
}

func (k *book) view(err error) bookView {
	k.mu.Lock()
	defer k.mu.Unlock()
	v := bookView{ID: k.id, Name: k.name, Kind: string(k.file.Kind), IsBook: k.file.Kind == app.OldBook, Running: k.running}
	if err == nil {
		err = k.failed
	}
	if err != nil {
		v.Error = troubleOf(err)
	}
	if k.running != "" {
		v.Done = fmt.Sprintf("%d of about %d rows", k.done.Load(), k.file.Rows())
		if k.file.Kind == app.Export {
			v.Done = fmt.Sprintf("%d events", k.done.Load())
		}
	}
	v.Tried, v.Taken = k.resultOf(k.tried), k.resultOf(k.taken)
	if r := k.events; r != nil {
		v.Events = fmt.Sprintf("%s taken, %d here already, of %s.", events.Count(r.Events, "event"), r.Known, events.Count(r.Feeds, "feed"))
	}
	if v.IsBook && k.running == "" && k.taken == nil {
		k.describe(&v)
	}
	return v
}

// describe shows how an old book is read.
func (k *book) describe(v *bookView) {
	v.Columns, v.Settings = columnsOf(k.file), settingFields(k.file)
	if names, _ := k.file.SheetNames(); len(names) > 1 {
		v.Sheet = fmt.Sprintf("The workbook has %d sheets, and one is read at a time: this is %q. Another can be chosen below.", len(names), k.file.Mapping.Sheet)
	}
	if k.file.Lacks != nil {
		v.Lacks = k.file.Lacks.Why
		return
	}
	v.Doubt = k.file.Book.Doubt
	seen := seenTable(k.file.Book, seenRows)
	v.Seen, v.Unused = &seen, strings.Join(k.file.Book.Unused, ", ")
	for currency, minor := range k.file.Book.Counts().Charges {
		v.Sums = append(v.Sums, "The charges come to "+events.MoneyText(minor, currency)+", as they are read.")
	}
}

func (k *book) resultOf(r *app.Imported) *resultView {
	if r == nil {
		return nil
	}
	v := &resultView{Words: fmt.Sprintf("%s: %d taken as visits of %s not seen before, %d here already, %d refused.",
		events.Count(r.Rows, "row"), r.Taken, events.Count(r.Units, "unit"), r.Repeated, len(r.Refused))}
	if len(r.Refused) > 0 {
		t := table{Caption: "Rows of which nothing is taken", Head: []string{"row", "job", "why"}, Numbers: map[int]bool{0: true}}
		for _, f := range r.Refused[:min(len(r.Refused), shownRefused)] {
			t.Rows = append(t.Rows, []cell{{Text: fmt.Sprint(f.Row)}, {Text: f.Job}, {Text: f.Why}})
		}
		v.Refused, v.More = &t, max(0, len(r.Refused)-shownRefused)
	}
	if len(r.Unmatched) > 0 {
		t := table{Caption: "Findings that stay text, because no table has their words", Head: []string{"times", "text"}, Numbers: map[int]bool{0: true}}
		for _, u := range r.Unmatched[:min(len(r.Unmatched), shownLeft)] {
			t.Rows = append(t.Rows, []cell{{Text: fmt.Sprint(u.Count)}, {Text: u.Text}})
		}
		v.Left = &t
	}
	for _, p := range r.LikelySame[:min(len(r.LikelySame), shownPairs)] {
		a, b := refOf(p.A.Tag, p.A.Unit), refOf(p.B.Tag, p.B.Unit)
		v.Pairs = append(v.Pairs, pairView{A: lineOfLikely(p.A), B: lineOfLikely(p.B), First: a, Other: b, Said: k.settled[a+" "+b]})
	}
	return v
}

// bookDo does one thing with a file in hand and shows its page again.
func bookDo(do func(q *request, k *book) error) func(*request) error {
	return func(q *request) error {
		if err := q.r.ParseForm(); err != nil {
			return formError(err)
		}
		k, err := q.s.books.by(q.r.PathValue("book"))
		if err != nil {
			return err
		}
		if err := do(q, k); err != nil {
			return q.bookPage(k, err)
		}
		return q.goTo("/import/" + k.id)
	}
}

// remap reads the book another way.
func remap(q *request, k *book) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.running != "" || k.taken != nil {
		return &app.NotHere{Unit: "the mapping", Why: "can't be changed any more"}
	}
	text, err := mappingText(k.file, q.r.PostForm)
	if err != nil {
		return err
	}
	k.tried, k.failed = nil, nil
	return k.file.Remap(text)
}

func tryBook(q *request, k *book) error  { return k.try(q.shop) }
func takeBook(q *request, k *book) error { return k.take(q.shop) }

// answerPair says of two units whether they are one.
func answerPair(q *request, k *book) error {
	a, b := q.r.PostForm.Get("a"), q.r.PostForm.Get("b")
	said := ""
	var err error
	switch q.r.PostForm.Get("are") {
	case "same":
		_, err = q.shop.Same(a, b, "", app.Who{})
		said = "joined: one and the same set"
	case "apart":
		_, err = q.shop.Apart(a, b, "", app.Who{})
		said = "kept apart: two sets"
	default:
		err = &app.Wrong{What: "the pair", Why: "was answered with neither of the two"}
	}
	if err != nil {
		return err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.settled[a+" "+b] = said
	return nil
}

// dropBook lets go of a file.
func dropBook(q *request) error {
	if err := q.s.books.drop(q.r.PathValue("book")); err != nil {
		return err
	}
	return q.goTo("/import", notice{Words: "The file was put away. What was taken of it stays."})
}
