package web

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/projections"
)

// yearPage is the owner's year, on two sheets of paper.
type yearPage struct {
	Year     int
	AsOf     string
	Runs     bool
	Words    []string // the year in sentences
	Before   string   // links to the years beside it
	After    string
	Picture  *projections.Picture
	Numbers  []answerTable
	Method   string
	Stay     *projections.Picture
	StaySaid []string
	Endings  []yearList // on the first sheet
	Lists    []yearList // on the second
	Empty    bool
}

// yearList is one list of the year beside the years before.
type yearList struct {
	Title string
	Table answerTable
	More  string // how many are not shown
	Link  string // where all are
}

// mostListed is how much of each list goes on a sheet.
const mostListed = 10

// year draws the page of a year; of the running one, where none is named.
func year(q *request) error {
	named, n := q.r.PathValue("year"), 0
	if named != "" {
		var err error
		if n, err = strconv.Atoi(named); err != nil || len(named) != 4 {
			return &app.Wrong{What: "year " + named, Why: "want one of four figures"}
		}
	}
	here := "/year"
	if named != "" {
		here += "/" + named
	}
	return q.live("year", choose(named == "", "The year", "The year "+named), here, func() (any, error) {
		y, err := q.shop.OfYear(n)
		if err != nil {
			return nil, err
		}
		return yearPageOf(y)
	})
}

func yearPageOf(y app.YearPast) (p yearPage, err error) {
	p = yearPage{Year: y.Year, AsOf: y.AsOf, Runs: y.Runs, Picture: y.Years.Picture, Method: y.Years.Method, Empty: isEmpty(y.Years)}
	if y.First > 0 && y.Year > y.First {
		p.Before = fmt.Sprintf("/year/%d", y.Year-1)
	}
	if y.Year < y.Last {
		p.After = fmt.Sprintf("/year/%d", y.Year+1)
	}
	if p.Empty {
		return p, nil
	}
	if row, ok := y.Years.Rows[0].(projections.YearRow); ok {
		p.Words = yearWords(row, y.Runs)
	}
	if p.Numbers, err = tablesFor(shortYears(y.Years, y.First), tableOf{}); err != nil {
		return p, err
	}
	for i := range p.Numbers {
		p.Numbers[i] = p.Numbers[i].without("top faults", "top models")
	}
	if y.Stay != nil {
		p.Stay, p.StaySaid = stayPicture(y), slices.Concat(y.Stay.Notes, missingOf(y.Stay))
	}
	from, to := fmt.Sprintf("%d-01-01", y.Year), fmt.Sprintf("%d-12-31", y.Year)
	for _, l := range y.Lists {
		if len(l.Rows) > 0 && len(l.Years) > 0 {
			list := yearListOf(l, from, to)
			if l.What == "endings" {
				p.Endings = append(p.Endings, list)
			} else {
				p.Lists = append(p.Lists, list)
			}
		}
	}
	return p, nil
}

// stayPicture is the picture of how long visits took, with the finding of the
// page's own year.
func stayPicture(y app.YearPast) *projections.Picture {
	if y.Stay.Picture == nil {
		return nil
	}
	p := *y.Stay.Picture
	for _, r := range y.Stay.Rows {
		row, ok := r.(projections.TurnaroundRow)
		if !ok || row.Group != strconv.Itoa(y.Year) {
			continue
		}
		p.Desc = fmt.Sprintf("Half of the visits of %s are not done yet.", row.Group)
		if row.Median != nil && row.MedianLow != nil {
			p.Desc = fmt.Sprintf("Half of the visits of %s were done within %s days (%s to %s).", row.Group, plain(*row.Median), plain(*row.MedianLow), reachedWords(row.MedianHigh))
		}
	}
	return &p
}

func reachedWords(v *float64) string {
	if v == nil {
		return "not reached"
	}
	return plain(*v)
}

// shortYears is the answer without the years before the shop has records.
func shortYears(res *projections.Result, first int) *projections.Result {
	c := *res
	c.Rows = nil
	for _, r := range res.Rows {
		if row, ok := r.(projections.YearRow); ok && row.Year >= first {
			c.Rows = append(c.Rows, row)
		}
	}
	return &c
}

// yearWords tell the year in sentences.
func yearWords(row projections.YearRow, runs bool) []string {
	so := choose(runs, " so far", "")
	words := []string{
		fmt.Sprintf("%s received%s, %d of them not here before.", events.Count(row.Received, "unit"), so, row.New),
		fmt.Sprintf("%s shipped, %d of them repaired.", events.Count(row.Shipped, "unit"), row.Repaired),
	}
	if row.Share != nil && row.Low != nil && row.High != nil {
		words = append(words, fmt.Sprintf("%d of those received had left within the 90 days before: %s (%s to %s).",
			row.ComeBacks, percent(*row.Share), percentValue(*row.Low), percentValue(*row.High)))
	}
	if row.Median != nil {
		text := fmt.Sprintf("Half of the visits were done within %s days", plain(*row.Median))
		if row.P90 != nil {
			text += fmt.Sprintf(", nine of ten within %s", plain(*row.P90))
		}
		words = append(words, text+".")
	}
	return append(words, fmt.Sprintf("%s used; %s charged.", events.Count(row.Parts, "part"), amountsOf(row.Charged)))
}

func amountsOf(charged map[string]string) string {
	by := map[string]any{}
	for currency, sum := range charged {
		by[currency] = sum
	}
	return amounts(by)
}

// listTitles are the lists in words, and where all of each is.
var listTitles = map[string]struct{ title, one, question, by string }{
	"models":  {"Models received", "model", "rarity", ""},
	"faults":  {"Faults found", "fault", "failures", "model"},
	"parts":   {"Parts used", "part", "parts", ""},
	"endings": {"How visits ended", "ending", "outcomes", ""},
}

func yearListOf(l projections.YearList, from, to string) yearList {
	t := listTitles[l.What]
	list := yearList{Title: choose(t.title == "", l.What, t.title), Table: answerTable{Name: l.What, What: t.title}}
	if t.question != "" {
		list.Link = "/fleet/" + t.question + "?" + choose(t.by == "", "", "by="+t.by+"&") + "from=" + from + "&to=" + to
	}
	list.Table.Head = []answerHead{{Text: t.one}, {Text: strconv.Itoa(l.Years[0]), Number: true}}
	if len(l.Years) > 1 {
		list.Table.Head = append(list.Table.Head, answerHead{Text: "a year before", Number: true}, answerHead{Text: fmt.Sprintf("%d to %d", l.Years[1], l.Years[len(l.Years)-1]), Number: true})
	}
	for _, row := range l.Rows[:min(len(l.Rows), mostListed)] {
		cells := []cell{{Text: choose(row.Name == "", "not known", row.Name), Link: modelPage(row.Maker, row.Model)},
			{Text: map[int]string{-1: "fewer ", 1: "more "}[row.LessOrMore] + strconv.Itoa(row.Counts[0])}}
		if len(l.Years) > 1 {
			cells = append(cells, cell{Text: beforeWords(row)}, cell{Text: countsBefore(row.Counts[1:])})
		}
		list.Table.Rows = append(list.Table.Rows, cells)
	}
	if n := len(l.Rows) - mostListed; n > 0 {
		list.More = fmt.Sprintf("%d more in these years", n)
	}
	return list
}

func beforeWords(c projections.YearCount) string {
	if c.Before == nil || c.Low == nil || c.High == nil {
		return "–"
	}
	return fmt.Sprintf("%s (%s to %s)", plain(*c.Before), plain(*c.Low), plain(*c.High))
}

// countsBefore are the counts of the years before, the latest first.
func countsBefore(counts []int) string {
	words := make([]string, len(counts))
	for i, n := range counts {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, " ")
}

// without is the table without some columns.
func (t answerTable) without(heads ...string) answerTable {
	c := answerTable{Name: t.Name, What: t.What, Rows: make([][]cell, len(t.Rows))}
	for j, h := range t.Head {
		if slices.Contains(heads, h.Text) {
			continue
		}
		c.Head = append(c.Head, h)
		for i, row := range t.Rows {
			c.Rows[i] = append(c.Rows[i], row[j])
		}
	}
	return c
}
