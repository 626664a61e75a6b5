package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/workdays"
	"oldhand/projections"
)

// asking is a question as the address has it: values under the names that the
// flags of the command line have.
type asking struct {
	question projections.Question
	values   url.Values // of those that it takes, the ones that are not empty
	in       app.Asking
	part     int // of a long table, from 1
	wrong    error
}

// filters are the names that every question takes, in the order of the form.
var filters = []string{"maker", "model", "from", "to", "as-of"}

// asking reads what was asked from the address.
func (q *request) asking() (a asking, err error) {
	name := q.r.PathValue("question")
	question, ok := projections.FindQuestion(name)
	if !ok {
		return a, &app.NoQuestion{Name: name}
	}
	a = asking{question: question, values: url.Values{}, part: 1}
	takes := slices.Concat(filters, question.Takes)
	if len(question.By) > 0 {
		takes = append(takes, "by")
	}
	asked := q.r.URL.Query()
	for _, name := range takes {
		for _, v := range asked[name] {
			if v = strings.TrimSpace(v); v != "" {
				a.values.Add(name, v)
			}
		}
	}
	v := a.values
	a.in = app.Asking{Question: name, AsOf: v.Get("as-of"), From: v.Get("from"), To: v.Get("to"), Maker: v.Get("maker"), Model: v.Get("model"),
		By: v.Get("by"), Groups: v["group"], Unit: v.Get("unit"), Working: v.Get("working")}
	a.in.Days = a.number("days", "want a number of days above zero")
	a.in.Year = a.number("year", "want a year of four figures")
	if part, err := strconv.Atoi(asked.Get("part")); err == nil && part > 1 {
		a.part = part
	}
	return a, nil
}

// number reads a value that has to be a number above zero.
func (a *asking) number(name, why string) int {
	text := a.values.Get(name)
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || name == "year" && len(text) != 4 {
		a.wrong = &app.Wrong{What: "--" + name, Why: why}
		return 0
	}
	return n
}

// address is where the very asking is found, or a part below it.
func (a asking) address(below string) string {
	at := "/fleet/" + url.PathEscape(a.question.Name) + below
	v := url.Values{}
	for name, list := range a.values {
		v[name] = list
	}
	if a.part > 1 && below == "" {
		v.Set("part", strconv.Itoa(a.part))
	}
	if len(v) > 0 {
		at += "?" + v.Encode()
	}
	return at
}

func (a asking) partAddress(part int) string {
	a.part = part
	return a.address("") + "#rows"
}

// words are the filters, said.
func (a asking) words() (list []string) {
	for _, w := range []struct{ name, words string }{{"by", "by %s"}, {"group", "of %s"}, {"maker", "maker %s"}, {"model", "model %s"}, {"unit", "about unit %s"},
		{"from", "received on %s or later"}, {"to", "received up to %s"}, {"working", "in working days: %s"}, {"days", "%s days"}, {"year", "year %s"}} {
		if v := a.values[w.name]; len(v) > 0 {
			list = append(list, fmt.Sprintf(w.words, strings.Join(v, " and ")))
		}
	}
	return list
}

// mostSuggested is how many names a field suggests: each weighs on the page.
const mostSuggested = 80

// askingForm is the form of a question's filters. It is sent with GET, so that
// they stand in the address.
func (q *request) askingForm(a asking) (*form, error) {
	makers, models, err := q.suggestions(a)
	if err != nil {
		return nil, err
	}
	f := &form{ID: "ask", Action: "/fleet/" + a.question.Name, Submit: "Ask"}
	add := func(x field) {
		x.Value = a.values.Get(x.Name)
		f.Fields = append(f.Fields, &x)
	}
	if len(a.question.By) > 0 {
		by := field{Name: "by", Label: "Group by", Kind: "select"}
		for i, g := range a.question.By {
			by.Options = append(by.Options, option{choose(i == 0, "", g), groupingWords(a.question.Name, g)})
		}
		add(by)
		if x := f.field("by"); x.Value == a.question.By[0] {
			x.Value = ""
		}
	}
	for _, name := range a.question.Takes {
		if name == "group" {
			if err := q.groupFields(f, a); err != nil {
				return nil, err
			}
		} else {
			add(takenFields[name])
		}
	}
	add(field{Name: "maker", Label: "Maker", Suggest: makers})
	add(field{Name: "model", Label: "Model", Suggest: models})
	add(field{Name: "from", Label: "Received from", Kind: "date"})
	add(field{Name: "to", Label: "Received up to", Kind: "date"})
	add(field{Name: "as-of", Label: "As of", Kind: "date", Hint: "as it was known to be then; today, if nothing is said"})
	return f, nil
}

// takenFields are the fields of what only some questions take.
var takenFields = map[string]field{
	"unit":    {Name: "unit", Label: "Also about one unit", Hint: "its tag or serial"},
	"days":    {Name: "days", Label: "Days", Kind: "number", Hint: "come-backs within so many; means up to so many"},
	"year":    {Name: "year", Label: "Year", Kind: "number"},
	"working": {Name: "working", Label: "Days counted", Kind: "select", Options: workingOptions()},
}

func workingOptions() []option {
	list := []option{{"", "all days"}}
	for _, rule := range workdays.Rules {
		list = append(list, option{rule, map[string]string{"weekdays": "Monday to Friday", "us": "working days, federal holidays of the US"}[rule]})
	}
	return list
}

func groupingWords(question, by string) string {
	switch {
	case by == "all":
		return "all together"
	case question == "failures" && (by == "year" || by == "decade"):
		return by + " made"
	case by == "year":
		return "year received"
	case by == "kind":
		return "kind of set"
	}
	return by
}

// groupFields are two fields for groups, or as many as there are in the address:
// of two it is told whether they differ.
func (q *request) groupFields(f *form, a asking) error {
	var have []string
	if a.in.By != "" && a.in.By != "all" {
		res, err := q.shop.Ask(app.Asking{Question: a.question.Name, By: a.in.By})
		if err != nil {
			return nil // said where the answer is asked for
		}
		for _, r := range res.Rows {
			if row, ok := r.(projections.TurnaroundRow); ok && row.Group != "" {
				have = append(have, row.Group)
			}
		}
	}
	groups := a.values["group"]
	for i := range max(2, len(groups)) {
		x := &field{Name: "group", Key: fmt.Sprintf("group%d", i+1), Label: choose(i == 0, "This group only", "and this one"), Suggest: have[:min(len(have), mostSuggested)]}
		if i < len(groups) {
			x.Value = groups[i]
		}
		if i == 0 {
			x.Hint = "of those that the grouping makes; of two it is told whether they differ"
		}
		f.Fields = append(f.Fields, x)
	}
	return nil
}

// suggestions are the makers and models that come in most, models of the maker
// that was asked for if there is one.
func (q *request) suggestions(a asking) (makers, models []string, err error) {
	res, err := q.shop.Ask(app.Asking{Question: "rarity"})
	if err != nil {
		return nil, nil, err
	}
	for _, r := range res.Rows {
		row, ok := r.(projections.RarityRow)
		if !ok {
			continue
		}
		if row.Maker != "" && !slices.Contains(makers, row.Maker) && len(makers) < mostSuggested {
			makers = append(makers, row.Maker)
		}
		if (a.in.Maker == "" || strings.EqualFold(a.in.Maker, row.Maker)) && !slices.Contains(models, row.Model) && len(models) < mostSuggested {
			models = append(models, row.Model)
		}
	}
	return makers, models, nil
}
