package web

import (
	"net/url"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/sheettext"
	"oldhand/events"
	"oldhand/events/measure"
)

// The shop's test sheets: the list, and one to look at and to change. A sheet is
// changed as text, the same that the command line prints: a form of some hundred
// fields would be no easier, and nothing that is said of a check is lost.

// sheetsPage is the list.
type sheetsPage struct {
	Own, Program []sheetLine
}

// sheetLine is a sheet in a list.
type sheetLine struct {
	app.Sheet
	Checks int
	At     string
	Take   *form
}

// sheetPage is one sheet.
type sheetPage struct {
	Name  string // empty for a new one
	Sheet *app.Sheet
	Rows  []sheetRow
	Take  *form
	Form  *form
	Kept  kept
}

// sheetRow is a check as it is shown.
type sheetRow struct {
	events.Check
	Limits string
}

func sheetAt(name string) string { return "/sheet?name=" + url.QueryEscape(name) }

func takeForm(name, back string) *form {
	return &form{ID: "take-" + slugOf(name), Action: "/sheets/take", Submit: "Take it", Small: true, Hidden: map[string]string{"name": name, "back": back}}
}

// slugOf is a name as the id of an element.
func slugOf(name string) string { return url.PathEscape(name) }

// testSheets lists the sheets.
func testSheets(q *request) error {
	list, err := q.shop.Sheets()
	if err != nil {
		return err
	}
	var p sheetsPage
	for _, o := range list {
		l := sheetLine{Sheet: o, Checks: len(o.Sheet.Checks), At: sheetAt(o.Sheet.Name)}
		if o.Own {
			l.At = sheetAt(o.ID.String())
			p.Own = append(p.Own, l)
			continue
		}
		l.Take = takeForm(o.Sheet.Name, "/sheets")
		p.Program = append(p.Program, l)
	}
	return q.show("sheets", "Test sheets", p)
}

// oneSheet shows a sheet with its text to change, or an empty one.
func oneSheet(q *request) error {
	p, err := q.sheetPage(q.asked("name"))
	if err != nil {
		return err
	}
	if err := q.putBack(p.Form, &p.Kept); err != nil {
		return err
	}
	return q.show("sheet", choose(p.Name != "", "Test sheet: "+p.Name, "A test sheet"), p)
}

// newSheet is where one begins that is like none.
var newSheet = events.TestSheetDefined{Name: "name it", KindOfSet: "table-radio", Checks: []events.Check{{Label: "AM plays", Measure: "check"},
	{Label: "level on AM", Point: "AM", Measure: "audio-level-am"}, {Label: "FM about as loud as AM", Point: "FM", Measure: "audio-level-fm", Low: "-6 dB", High: "6 dB", Beside: "AM", OnlyWhere: "FM"}}}

func (q *request) sheetPage(name string) (*sheetPage, error) {
	p := &sheetPage{}
	text := sheettext.Write(newSheet)
	if name != "" {
		o, err := q.shop.SheetNamed(name)
		if err != nil {
			return nil, err
		}
		p.Name, p.Sheet, text = o.Sheet.Name, &o, sheettext.Write(o.Sheet)
		for _, c := range o.Sheet.Checks {
			p.Rows = append(p.Rows, sheetRow{c, limitsOf(c)})
		}
		if !o.Own {
			p.Take = takeForm(p.Name, sheetAt(p.Name))
		}
	}
	p.Form = &form{ID: "sheet", Action: "/sheet", Submit: "Define it", Once: newOnce(), Hidden: map[string]string{"was-name": name}, Fields: []*field{
		{Name: "text", Label: "As text", Kind: "lines", Value: text, Wide: true, Hint: "What is defined stands in the place of the sheet of the same name for the same kind of set or model."},
		{Name: "by", Label: "By", Value: q.by()}}}
	p.Kept = kept{Form: "sheet text", About: name, Back: choose(name != "", sheetAt(name), "/sheet")}
	return p, nil
}

func limitsOf(c events.Check) string { return measure.LimitsText(c.Low, c.High, c.Beside) }

// defineSheet writes a sheet down.
func defineSheet(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	p, err := q.sheetPage(q.r.PostForm.Get("was-name"))
	if err != nil {
		return err
	}
	return q.save(p.Form, p.Kept, func(s *app.Shop) (string, []notice, error) {
		text := q.r.PostForm.Get("text") // the form's own is there to begin from
		if strings.TrimSpace(text) == "" {
			return "", nil, &app.Wrong{What: "text", Why: "is empty"}
		}
		b, err := sheettext.Read(text)
		if err != nil {
			return "", nil, &app.Wrong{What: "text", Why: err.Error()}
		}
		saved, err := s.DefineSheet(b, app.Who{By: p.Form.value("by")})
		if err != nil {
			return "", nil, err
		}
		return "/sheets", savedWords(saved, nil), nil
	}, func() error { return q.show("sheet", "Test sheet: "+p.Name, p) })
}

// takeSheet makes one of the program's sheets the shop's.
func takeSheet(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	saved, err := q.shop.TakeSheet(q.r.PostForm.Get("name"), app.Who{})
	if err != nil {
		return err
	}
	return q.goTo(backTo(q.r.PostForm.Get("back")), savedWords(saved, nil)...)
}
