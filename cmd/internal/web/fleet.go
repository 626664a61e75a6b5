package web

import (
	"bytes"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/sheet"
	"oldhand/events"
	"oldhand/projections"
)

// overview is every fleet question with its answer in a line.
type overview struct {
	AsOf      string
	Empty     bool // no question has an answer
	Questions []questionLine
}

type questionLine struct {
	Name, Title string
	Answer      string // the finding, in words
	Sure        string // how sure it is
	Missing     []string
	Fills       string // what would make an answer, where there is none
}

func fleet(q *request) error {
	o := overview{}
	return q.live("fleet", "Fleet", "/fleet", func() (any, error) {
		for _, question := range projections.Questions {
			res, err := q.shop.Ask(app.Asking{Question: question.Name})
			if err != nil {
				return nil, err
			}
			o.AsOf = res.AsOf
			line := questionLine{Name: question.Name, Title: question.Title, Missing: missingOf(res)}
			switch {
			case isEmpty(res):
				line.Fills = fills(question.Name)
			case res.Picture != nil:
				line.Answer, line.Sure = res.Picture.Desc, sureOf(res.Rows[0])
			default:
				line.Answer = events.Count(len(res.Rows), "row")
			}
			o.Questions = append(o.Questions, line)
		}
		o.Empty = !slices.ContainsFunc(o.Questions, func(l questionLine) bool { return l.Fills == "" })
		return o, nil
	})
}

// sureOf is the interval of what an answer's first row says; empty where it has
// none.
func sureOf(row any) string {
	limits := func(what string, say func(float64) string, v, low, high *float64) string {
		if v == nil || low == nil || high == nil {
			return ""
		}
		return fmt.Sprintf("%s %s to %s, 95 %%", what, say(*low), say(*high))
	}
	switch r := row.(type) {
	case projections.RarityRow:
		return limits("a year:", plain, r.RatePerYear, r.RateLow, r.RateHigh)
	case projections.PartRow:
		return limits("a year:", plain, r.PerYear, r.Low, r.High)
	case projections.TurnaroundRow:
		return limits("half done within:", plain, r.Median, r.MedianLow, r.MedianHigh)
	case projections.ComeBackRow:
		return limits("share back:", percent, r.Share, r.Low, r.High)
	case projections.OutcomeRow:
		return limits("share:", percent, &r.Share, &r.Low, &r.High)
	case projections.YearRow:
		return limits("share of come-backs:", percent, r.Share, r.Low, r.High)
	}
	return ""
}

// answerPage is one question with its filters, its answer and the ways to take
// it along.
type answerPage struct {
	Name, Title string
	Form        *form
	Filtered    bool
	Wrong       bool // it could not be asked so
	AsOf        string
	Asked       []string // the filters in words
	Picture     *projections.Picture
	Tables      []answerTable
	Parts       []tablePart
	Empty       string
	Missing     []string
	Notes       []string
	Method      string
	Here        string // this very asking
	CSV, XLSX   string
}

// tablePart is a stretch of a long table.
type tablePart struct {
	Words, Link string
	Here        bool
}

func question(q *request) error {
	asking, err := q.asking()
	if err != nil {
		return err
	}
	if clean := asking.address(""); !q.wantsPart() && q.r.URL.RequestURI() != clean {
		http.Redirect(q.w, q.r, clean, http.StatusSeeOther)
		return nil
	}
	return q.live("question", asking.question.Title, asking.address(""), func() (any, error) {
		p := answerPage{Name: asking.question.Name, Title: asking.question.Title, Here: asking.address(""), Filtered: len(asking.values) > 0}
		form, err := q.askingForm(asking)
		if err != nil {
			return nil, err
		}
		p.Form = form
		res, err := q.shop.Ask(asking.in)
		if asking.wrong != nil {
			err = asking.wrong
		}
		switch {
		case err != nil && statusOf(err) >= http.StatusInternalServerError:
			return nil, err
		case err != nil:
			p.Wrong = true
			form.blame(err)
			q.status = statusOf(err)
			return p, nil
		}
		return p, q.fillAnswer(&p, asking, res)
	})
}

func (q *request) fillAnswer(p *answerPage, a asking, res *projections.Result) error {
	p.AsOf, p.Picture, p.Missing, p.Notes, p.Method = res.AsOf, res.Picture, missingOf(res), res.Notes, res.Method
	p.Asked = a.words()
	p.CSV, p.XLSX = a.address("/csv"), a.address("/xlsx")
	if isEmpty(res) {
		p.Empty = choose(p.Filtered, "Nothing here is as it was asked for. ", "Nothing to tell yet. ") + fills(res.Question)
		return nil
	}
	models, err := q.modelNames()
	if err != nil {
		return err
	}
	part := *res
	part.Rows, p.Parts = stretch(res.Rows, a)
	p.Tables, err = tablesFor(&part, tableOf{a.in.By, models, a.values})
	return err
}

// mostRows is how many rows a page has room for.
const mostRows = 60

// stretch cuts a long answer into parts, and gives the rows of the one that was
// asked for.
func stretch(rows []any, a asking) ([]any, []tablePart) {
	if len(rows) <= mostRows+mostRows/4 {
		return rows, nil
	}
	from := (a.part - 1) * mostRows
	if from >= len(rows) {
		from = 0
	}
	var parts []tablePart
	for i := 0; i < len(rows); i += mostRows {
		parts = append(parts, tablePart{fmt.Sprintf("%d to %d", i+1, min(i+mostRows, len(rows))), a.partAddress(i/mostRows + 1), i == from})
	}
	return rows[from:min(from+mostRows, len(rows))], parts
}

// isEmpty reports whether an answer has nothing to tell.
func isEmpty(res *projections.Result) bool {
	for _, r := range res.Rows {
		if y, ok := r.(projections.YearRow); !ok || y.Received+y.Shipped+y.Parts > 0 {
			return false
		}
	}
	return true
}

// fills says what an answer is made of, where there is none.
func fills(question string) string {
	if words, ok := map[string]string{
		"rarity":     "This is made from units whose maker and model were written down when they were received.",
		"failures":   "This is made from faults that were found, each with the component that failed.",
		"turnaround": "This is made from units that were received; each stays in it until the day it is shipped.",
		"comebacks":  "This is made from units that were shipped, and from those that are received again.",
		"parts":      "This is made from parts that were replaced.",
		"year":       "This is made from all that is received, repaired and shipped in a year.",
		"outcomes":   "This is made from units that were shipped, each with its outcome.",
		"norms":      "This is made from readings that were written down as left, each at a test point.",
	}[question]; ok {
		return words
	}
	return "This is made from what is written down at the benches."
}

func missingOf(res *projections.Result) (list []string) {
	for _, m := range res.Missing {
		list = append(list, fmt.Sprintf("%s: %d", m.What, m.Count))
	}
	return list
}

// answerCSV and answerXLSX send an answer as a table, whole.
func answerCSV(q *request) error  { return q.sendTable("csv", sheet.CSV) }
func answerXLSX(q *request) error { return q.sendTable("xlsx", sheet.XLSX) }

func (q *request) sendTable(ending string, write func(io.Writer, *projections.Result) error) error {
	asking, err := q.asking()
	if err == nil {
		err = asking.wrong
	}
	if err != nil {
		return err
	}
	res, err := q.shop.Ask(asking.in)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := write(&b, res); err != nil {
		return err
	}
	name := fmt.Sprintf("%s-%s.%s", res.Question, res.AsOf, ending)
	kind := map[string]string{"csv": "text/csv; charset=utf-8", "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}[ending]
	q.w.Header().Set("Content-Type", kind)
	q.w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	if _, err := q.w.Write(b.Bytes()); err != nil {
		q.s.opt.Log.Debug("answer not sent", "why", err.Error()) // the browser went away
	}
	return nil
}

// modelNames finds the maker and the model behind the name that both have
// together in answers about models.
func (q *request) modelNames() (map[string][2]string, error) {
	res, err := q.shop.Ask(app.Asking{Question: "rarity"})
	if err != nil {
		return nil, err
	}
	names := make(map[string][2]string, len(res.Rows))
	for _, r := range res.Rows {
		if row, ok := r.(projections.RarityRow); ok {
			names[nameOf(row.Maker, row.Model)] = [2]string{row.Maker, row.Model}
		}
	}
	return names, nil
}

// modelPage is the address of a model's page; none where half of its name is
// not known.
func modelPage(maker, model string) string {
	if maker == "" || model == "" {
		return ""
	}
	return "/model/" + url.PathEscape(maker) + "/" + url.PathEscape(model)
}
