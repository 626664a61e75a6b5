package web

import (
	"net/http"
	"net/url"
	"strings"

	"oldhand/cmd/internal/app"
)

// benchPage is a unit at the bench: what can be done, one open form, and what this
// visit has so far.
type benchPage struct {
	Unit      unitLine
	Made      string
	Complaint string
	Condition string
	Received  string
	Waiting   string
	Closed    string // what became of the visit, where it is over
	Open      bool

	Acts     []actLink
	Form     *form // nil while none is open
	Word     string
	Cautions []string
	Kept     kept
	Last     *app.LastOfModel
	Pick     string // the act that an entry is to be chosen for
	Lost     string // why the rest of the page is not there

	Entries   []benchEntry // the last first
	Withdrawn int
	Sums      []string // of this visit's readings
	Alive     string
	At        string // this page, as it is
}

// actLink is one thing that can be done.
type actLink struct {
	Key, Word, At string
	Here          bool
	Late          bool // the unit is on no bench: it goes with a day only
}

// benchEntry is an entry with what can be done to it.
type benchEntry struct {
	entry
	Correct, Withdraw string
}

// atBench shows a unit's bench page, with the form open that the address names.
func atBench(q *request) error {
	alive, err := q.alive(q.r.PathValue("unit"))
	if err != nil {
		return err
	}
	d, err := q.desk()
	if err != nil {
		return err
	}
	d.entry, d.other = q.asked("entry"), q.asked("other")
	b := q.benchPage(d, q.asked("do"), q.asked("by"))
	b.Alive = alive
	if q.wantsPart() {
		return q.part("bench", "visit", b)
	}
	if a, ok := actNamed(q.asked("do")); ok {
		if err := q.openForm(&b, a, d); err != nil {
			return err
		}
	}
	return q.show("bench", "Bench: "+b.Unit.Name, b)
}

// desk reads what the forms of a unit are drawn from.
func (q *request) desk() (d desk, err error) {
	if d.unit, err = q.shop.AtBench(q.r.PathValue("unit")); err != nil {
		return d, err
	}
	d.usual, err = q.shop.HabitsOf(d.unit.Unit)
	return d, err
}

// openForm draws the form of an act into the page.
func (q *request) openForm(b *benchPage, a act, d desk) error {
	if a.name == "correct" && d.entry == "" {
		b.Pick = a.name
		return nil
	}
	f, k, err := q.formOf(a, d, b.Unit.Ref)
	if err != nil {
		return err
	}
	b.show(a, f, k)
	if err := q.putBack(f, &b.Kept); err != nil {
		return err
	}
	q.readAgain(f)
	return nil
}

// formOf is the form of an act, and what it is kept as.
func (q *request) formOf(a act, d desk, ref string) (*form, kept, error) {
	f := a.form(d, ref, q.by())
	k := kept{Form: a.name, About: d.unit.Unit, Back: benchAt(ref, a.name, q.by())}
	switch a.name {
	case "measure":
		rememberPoint(f, d)
	case "identify":
		q.dating(f, d, ref)
	case "correct":
		fields, _, err := q.shop.CorrectableOf(d.unit.Unit, d.entry)
		if err != nil && q.r.Method == http.MethodPost {
			fields, err = sentFields(q.r.PostForm), nil // what is wrong is said when it is saved
		}
		if err != nil {
			return nil, k, err
		}
		correctForm(f, d, fields)
		k.Form, k.Back = a.name+" "+d.entry, k.Back+"&entry="+url.QueryEscape(d.entry)
	}
	return f, k, nil
}

// by is who writes, as the address or the form has it.
func (q *request) by() string {
	if q.r.Method == http.MethodPost {
		return q.r.PostForm.Get("by")
	}
	return q.asked("by")
}

// show puts a form into the page, with the cautions that go with it.
func (b *benchPage) show(a act, f *form, k kept) {
	b.Form, b.Word, b.Kept = f, a.word, k
	if a.opens {
		b.Cautions = append(b.Cautions, app.OpeningCaution)
	}
	if a.caution != "" {
		b.Cautions = append(b.Cautions, a.caution)
	}
}

// benchAt is the bench page with a form open.
func benchAt(ref, do, by string) string {
	v := url.Values{}
	if do != "" {
		v.Set("do", do)
	}
	if by != "" {
		v.Set("by", by)
	}
	at := "/unit/" + url.PathEscape(ref) + "/bench"
	if len(v) == 0 {
		return at
	}
	return at + "?" + v.Encode()
}

func (q *request) benchPage(d desk, do, by string) benchPage {
	u := d.unit
	ref := refOf(u.Tag, u.Unit)
	b := benchPage{Unit: unitLine{Ref: ref, Tag: u.Tag, Name: nameOf(u.Maker, u.Model), Serial: u.Serial}, Made: u.Year, Complaint: u.Complaint, Condition: u.Condition,
		Received: dayOf(u.Received), Waiting: u.Waiting, Open: u.Open, Closed: closedWords(u), Last: d.usual.Last, Withdrawn: len(u.Withdrawn), Sums: app.VisitSums(u.Read, yearOf(u.Year)), At: benchAt(ref, do, by)}
	for _, a := range acts() {
		b.Acts = append(b.Acts, actLink{Key: a.key, Word: a.word, At: benchAt(ref, a.name, by), Here: a.name == do, Late: !u.Open && !a.always})
		if a.name == "measure" { // what the sheet asks for stands on a page of its own
			b.Acts = append(b.Acts, actLink{Key: "l", Word: "Test by its sheet", At: testAt(ref, by), Late: !u.Open})
		}
	}
	said := map[string]bool{}
	for i := len(u.Entries) - 1; i >= 0; i-- {
		l := u.Entries[i]
		e := benchEntry{entry: entryOf(l.PastLine)}
		if e.Caution = l.Caution; said[l.Caution] {
			e.Caution = "" // once on a page is enough
		}
		said[l.Caution] = true
		e.Correct, e.Withdraw = benchAt(ref, "correct", by)+"&entry="+l.Event, benchAt(ref, "withdraw", by)+"&entry="+l.Event
		b.Entries = append(b.Entries, e)
	}
	return b
}

// closedWords say what became of a visit that is over.
func closedWords(u app.AtBench) string {
	switch {
	case u.Open:
		return ""
	case u.Received == "":
		return "This unit never came in."
	case u.Shipped == "":
		return "This visit is closed: it left on a day nobody wrote down."
	}
	return "This visit is closed: shipped " + dayOf(u.Shipped) + ", " + spoken(u.Outcome) + "."
}

// benchDo saves what a form of the bench says.
func benchDo(q *request) error {
	a, ok := actNamed(q.r.PathValue("do"))
	if !ok {
		return nowhere(q)
	}
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	d, readErr := q.desk()
	d.entry = q.r.PostForm.Get("entry")
	b := q.benchPage(d, a.name, q.by())
	f, k, formErr := q.formOf(a, d, choose(readErr == nil, b.Unit.Ref, q.r.PathValue("unit")))
	if formErr != nil {
		return formErr
	}
	if readErr != nil {
		k.About = q.r.PathValue("unit")
		b.lose(readErr, k.About)
	}
	b.show(a, f, k)
	return q.save(f, k, func(s *app.Shop) (string, []notice, error) { return q.act(s, a, d, f) },
		func() error { return q.show("bench", "Bench: "+b.Unit.Name, b) })
}

// lose leaves the form alone on a page of which nothing else can be read: what was
// typed into it must not go too.
func (b *benchPage) lose(err error, ref string) {
	*b = benchPage{Unit: unitLine{Ref: ref, Name: ref}, Lost: err.Error()}
}

// act does what a form says, and gives the page that comes next: the same form,
// empty, but after what is done once for a visit.
func (q *request) act(s *app.Shop, a act, d desk, f *form) (string, []notice, error) {
	named := q.r.PathValue("unit")
	w, err := whoOf(f)
	if err != nil {
		return "", nil, err
	}
	others, err := s.Meanwhile(named, f.sent.Get("seen"))
	if err != nil {
		return "", nil, err
	}
	saved, err := a.do(s, named, w, f)
	if err != nil {
		return "", nil, err
	}
	next := a.name
	switch a.name {
	case "ship", "correct", "withdraw", "restore", "same", "apart":
		next = ""
	}
	return benchAt(refOf(saved.Tag, saved.Unit), next, w.By), savedWords(saved, others), nil
}

// savedWords say what was saved, what to look at, and what others wrote meanwhile.
func savedWords(saved app.Saved, others []string) (said []notice) {
	for _, e := range saved.Events {
		said = append(said, notice{Words: "Saved: " + e.Line})
	}
	if saved.Usual != "" {
		said = append(said, notice{Words: "At this point: " + saved.Usual})
	}
	for _, n := range saved.Notes {
		said = append(said, notice{Words: "Look at it: " + n, Warn: true})
	}
	if len(others) > 0 {
		said = append(said, notice{Words: "While this form was open, this was written of the unit too: " + strings.Join(others, "; ") + ".", Warn: true})
	}
	return said
}
