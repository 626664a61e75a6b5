package web

import (
	"errors"
	"net/url"
	"strconv"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// The final test by sheet: a row for each check, judged while it is typed, and at
// the end the verdict. One save makes one batch (app.SaveTest). It is kept under the
// name that the terminal keeps it under, so that either goes on with what was
// typed at the other.

// testPage is a unit's test by its sheet.
type testPage struct {
	Unit    unitLine
	Test    app.SheetTest
	Rows    []testRow
	Take    *form // of a sheet that comes with the program, where the shop has none
	Form    *form
	Kept    kept
	Found   string // the page for readings as found
	Sum     string
	Verdict *field
	Rest    []*field // what is said of the test as a whole
}

// testRow is a check with its two fields.
type testRow struct {
	app.TestRow
	Read, Words *field
}

// noVerdict is chosen where only the readings are to be saved.
const noVerdict = "readings"

func testAt(ref, by string) string {
	at := "/unit/" + url.PathEscape(ref) + "/test"
	if by != "" {
		at += "?by=" + url.QueryEscape(by)
	}
	return at
}

// bySheet shows a unit's test sheet.
func bySheet(q *request) error {
	u, err := q.shop.AtBench(q.r.PathValue("unit"))
	if err != nil {
		return err
	}
	t, _, ok, err := q.shop.KeptTest(u.Unit)
	if err != nil {
		return err
	}
	if !ok {
		t.Sheet, t.Stage = q.asked("sheet"), q.asked("stage")
	}
	p, err := q.testPage(u, t)
	if err != nil {
		return err
	}
	if p.Form != nil {
		if err := q.putBack(p.Form, &p.Kept); err != nil {
			return err
		}
		p.focusFirst()
	}
	return q.show("test", "Test: "+p.Unit.Name, p)
}

// testPage draws the page for what was typed.
func (q *request) testPage(u app.AtBench, t app.TestTyped) (*testPage, error) {
	ref := refOf(u.Tag, u.Unit)
	p := &testPage{Unit: unitLine{Ref: ref, Tag: u.Tag, Name: nameOf(u.Maker, u.Model), Serial: u.Serial}, Found: testAt(ref, "") + "?stage=as+found"}
	var err error
	if p.Test, err = q.shop.SheetTest(u.Unit, t); err != nil {
		return nil, err
	}
	switch o := p.Test.Sheet; {
	case o == nil:
		return p, nil
	case !o.Own:
		p.Take = takeForm(o.Sheet.Name, testAt(ref, q.by()))
		return p, nil
	}
	if err := q.shop.AddUsual(&p.Test); err != nil {
		return nil, err
	}
	p.Form = &form{ID: "test", Action: testAt(ref, ""), Submit: "Save the test", Once: newOnce(),
		Hidden: map[string]string{"seen": u.Seen, "was-sheet": p.Test.Sheet.ID.String(), "was-stage": p.Test.Stage}}
	p.Kept = kept{Form: app.TestForm, About: u.Unit, Back: testAt(ref, q.by())}
	usual, err := q.shop.HabitsOf(u.Unit)
	if err != nil {
		return nil, err
	}
	p.fields(usual, q.by())
	return p, nil
}

// fields makes the fields of the rows, and of the test as a whole.
func (p *testPage) fields(usual app.Habits, by string) {
	for _, r := range p.Test.Rows {
		n := strconv.Itoa(r.Number)
		if r.Caution != "" {
			r.Caution = meterCaution // as a form says it
		}
		row := testRow{TestRow: r, Read: &field{Name: "r" + n}, Words: &field{Name: "w" + n}}
		p.Rows = append(p.Rows, row)
		p.Form.Fields = append(p.Form.Fields, row.Read, row.Words)
	}
	p.Sum = sumOf(p.Test.Rows)
	p.Rest = []*field{{Name: "leftout", Label: "Left out besides", Wide: true, Hint: "What the sheet does not ask for, and why."}, {Name: "text", Label: "Words", Wide: true}}
	p.Rest = append(p.Rest, whoFields(usual, by)...)
	verdict := &field{Name: "verdict", Label: "Verdict", Kind: "select", Options: []option{{"", "choose"}, {events.Passed, events.Passed}, {events.Failed, events.Failed},
		{events.NotFinished, events.NotFinished}, {noVerdict, "none yet: save the readings"}}}
	if p.Test.Stage != events.AsLeft {
		verdict.Options = []option{{noVerdict, "none: these are readings " + p.Test.Stage}}
	}
	p.Verdict = verdict
	p.Form.Fields = append(append(p.Form.Fields, p.Rest...), verdict)
}

// focusFirst puts the keyboard where nothing was said yet.
func (p *testPage) focusFirst() {
	for _, r := range p.Rows {
		if r.Read.Value == "" && r.Words.Value == "" && r.Before == "" {
			r.Read.Focus = true
			return
		}
	}
	p.Verdict.Focus = true
}

// sumOf says how far a test is.
func sumOf(rows []app.TestRow) string {
	made, off, open := 0, 0, 0
	for _, r := range rows {
		if r.Reading != "" {
			made++
		}
		if r.Off {
			off++
		}
		if r.Needs {
			open++
		}
	}
	return strconv.Itoa(made) + " of " + events.Count(len(rows), "check") + " made, " + strconv.Itoa(off) + " off; " + events.Count(open, "needs", "need") + " a reading or words to pass"
}

// judge answers a check that is typed in: how all of them stand.
func judge(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	w, err := q.shop.SheetTest(q.r.PathValue("unit"), app.TestFrom(q.r.PostForm))
	if err != nil {
		return err
	}
	return q.part("test", "judgements", testPage{Test: w, Sum: sumOf(w.Rows)})
}

// bySheetDo saves a test.
func bySheetDo(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	t := app.TestFrom(q.r.PostForm)
	u, err := q.shop.AtBench(q.r.PathValue("unit"))
	if err != nil {
		return err
	}
	p, err := q.testPage(u, t)
	if err == nil && p.Form == nil {
		err = &app.NotHere{Unit: p.Unit.Name, Why: "has no test sheet of the shop"}
	}
	if err != nil {
		return errors.Join(err, q.keep(app.TestForm, u.Unit, q.r.PostForm))
	}
	var saving error
	return q.save(p.Form, p.Kept, func(s *app.Shop) (path string, said []notice, err error) {
		path, said, err = q.saveTest(s, u, t, p.Form)
		saving = err
		return path, said, err
	}, func() error {
		p.blame(saving)
		return q.show("test", "Test: "+p.Unit.Name, p)
	})
}

func (q *request) saveTest(s *app.Shop, u app.AtBench, t app.TestTyped, f *form) (string, []notice, error) {
	w, err := whoOf(f)
	if err != nil {
		return "", nil, err
	}
	switch t.Verdict {
	case "":
		return "", nil, &app.Wrong{What: "verdict", Why: "choose one, or none yet; nothing was saved, and what you typed is kept"}
	case noVerdict:
		t.Verdict = ""
	}
	others, err := s.Meanwhile(u.Unit, f.sent.Get("seen"))
	if err != nil {
		return "", nil, err
	}
	saved, err := s.SaveTest(u.Unit, w, t)
	if err != nil {
		return "", nil, err
	}
	return benchAt(refOf(saved.Tag, saved.Unit), "", w.By), savedWords(saved, others), nil
}

// blame puts what keeps the set from having passed beside the checks, and the
// keyboard where the first of it is.
func (p *testPage) blame(err error) {
	var not *app.NotPassed
	if !errors.As(err, &not) {
		return
	}
	for _, l := range not.Lacks {
		if l.Number <= len(p.Rows) {
			p.Rows[l.Number-1].Words.Error = l.What
		}
	}
	for _, o := range not.Over {
		if o.Check >= 1 && o.Check <= len(p.Rows) {
			p.Rows[o.Check-1].Read.Error = "No words help here, only a later reading within every limit used there."
		}
	}
	p.Form.focusWrong()
}
