package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"oldhand/cmd/internal/sheet"
	"oldhand/events/measure"
	"oldhand/projections"
)

// answerTable is a table of an answer: a value and its interval are one cell.
type answerTable struct {
	Name string // for its element
	What string // what its rows are
	Head []answerHead
	Rows [][]cell
}

type answerHead struct {
	Text   string
	Number bool
	Long   bool // its texts need more than a line
}

// column is how a page shows the values under a key. A key without a column
// here is shown as it is, so a further question needs none.
type column struct {
	head      string
	low, high string // keys of its limits, which go into its cell
	percent   bool
	none      string // said for a value that is not there
}

var columns = map[string]column{
	"visits":                   {head: "visits"},
	"share":                    {head: "share", low: "low", high: "high", percent: true, none: "not watched so long"},
	"rate_per_year":            {head: "a year", low: "rate_low", high: "rate_high", none: "not known"},
	"per_year":                 {head: "a year", low: "low", high: "high", none: "not known"},
	"median":                   {head: "days until half were done", low: "median_low", high: "median_high", none: "not reached"},
	"p75":                      {head: "until 3 of 4", none: "not reached"},
	"p90":                      {head: "until 9 of 10", low: "p90_low", high: "p90_high", none: "not reached"},
	"restricted_mean":          {head: "mean days, up to those said", none: "not known"},
	"restricted_mean_se":       {head: "its standard error", none: "not known"},
	"in_shop":                  {head: "mean days in shop"},
	"on_the_bench":             {head: "on the bench"},
	"mean_returns":             {head: "mean returns a unit", low: "low", high: "high"},
	"robust_se":                {head: "robust standard error"},
	"come_back_share":          {head: "share of come-backs", low: "come_back_low", high: "come_back_high", percent: true, none: "none received"},
	"come_backs":               {head: "come-backs"},
	"median_days":              {head: "days until half were done", none: "not reached"},
	"p90_days":                 {head: "until 9 of 10", none: "not reached"},
	"lift":                     {head: "times all others", none: "–"},
	"p":                        {head: "p, against all others"},
	"adjusted":                 {head: "p, adjusted for all comparisons"},
	"flagged":                  {head: "stands out"},
	"shrunk":                   {head: "share, leaning on the others", percent: true, none: "–"},
	"of":                       {head: "of"},
	"used_last_year":           {head: "used in the last full year"},
	"year":                     {head: "year", none: "not known"},
	"middle":                   {head: "middle, and usual", low: "low", high: "high"},
	"in":                       {head: "unit"},
	"days_since_first_shipped": {head: "days since first shipped"},
}

// unsaid are keys whose values a page has in another way, or not for people.
var unsaid = []string{"unit", "split"}

// tablesFor are an answer's tables as a page shows them.
func tablesFor(res *projections.Result, by string, models map[string][2]string) ([]answerTable, error) {
	read, err := sheet.Tables(res.Rows)
	if err != nil {
		return nil, err
	}
	var tables []answerTable
	named := map[string]int{}
	for i, t := range read {
		a := answerTable{Name: fmt.Sprintf("rows%d", i+1), What: tableWords(t.Keys)}
		if named[a.What]++; named[a.What] > 1 {
			a.What += fmt.Sprintf(", part %d", named[a.What]) // rows of which less is known, or more again
		}
		shown, taken := shownKeys(t.Keys)
		for _, j := range shown {
			a.Head = append(a.Head, answerHead{headOf(t.Keys[j], res.Question, by), isNumber(t, j), isList(t, j)})
		}
		for n, values := range t.Rows {
			row := rowOf{t.Keys, values}
			cells := make([]cell, len(shown))
			for k, j := range shown {
				text, err := row.text(j, taken)
				if err != nil {
					return nil, fmt.Errorf("row %d: %s: %w", n+1, t.Keys[j], err)
				}
				if t.Keys[j] == "group" && by == "outcome" {
					text = spoken(text)
				}
				cells[k] = cell{Text: text, Link: row.link(j, res.Question, by, models)}
			}
			a.Rows = append(a.Rows, cells)
		}
		tables = append(tables, a)
	}
	return tables, nil
}

// tableWords say what a table's rows are, by the key that only they have.
func tableWords(keys []string) string {
	for key, words := range map[string]string{"mean_returns": "Mean number of returns of a unit, by its age", "expected": "Units back more often than their age explains",
		"within": "Come-backs", "rate_per_year": "Models", "used_last_year": "Parts", "mode": "Faults", "closed": "Days in the shop", "outcome": "Endings", "top_faults": "Years", "middle": "Readings as left"} {
		if slices.Contains(keys, key) {
			return words
		}
	}
	return "Rows"
}

// shownKeys are the places of the keys that have a column of their own. Limits
// go with their value; the year made is said by its group.
func shownKeys(keys []string) (shown []int, limits map[string]bool) {
	limits = map[string]bool{}
	for _, k := range keys {
		if c, ok := columns[k]; ok && c.low != "" && slices.Contains(keys, c.low) {
			limits[c.low], limits[c.high] = true, true
		}
	}
	grouped := slices.Contains(keys, "group")
	for j, k := range keys {
		if !limits[k] && !slices.Contains(unsaid, k) && !(k == "year" && grouped) {
			shown = append(shown, j)
		}
	}
	return shown, limits
}

func headOf(key, question, by string) string {
	if key == "group" {
		if by == "" && question == "failures" {
			by = "year"
		}
		if by == "" && question == "norms" {
			by = "model"
		}
		return choose(by == "", "group", groupingWords(question, by))
	}
	if c, ok := columns[key]; ok {
		return c.head
	}
	return strings.ReplaceAll(key, "_", " ")
}

// isNumber reports whether the values of a column are numbers.
func isNumber(t sheet.Table, j int) bool {
	for _, values := range t.Rows {
		if c := values[j][0]; c == '-' || c >= '0' && c <= '9' {
			return true
		}
	}
	return false
}

func isList(t sheet.Table, j int) bool { return len(t.Rows) > 0 && t.Rows[0][j][0] == '[' }

// rowOf is a row of an answer: its keys and its values.
type rowOf struct {
	keys   []string
	values []json.RawMessage
}

// word is the text under a key, empty where there is none.
func (r rowOf) word(key string) (s string) {
	if j := slices.Index(r.keys, key); j >= 0 {
		_ = json.Unmarshal(r.values[j], &s) // a number is no text
	}
	return s
}

func (r rowOf) number(key string) (v float64, ok bool) {
	j := slices.Index(r.keys, key)
	if j < 0 || string(r.values[j]) == "null" {
		return 0, false
	}
	return v, json.Unmarshal(r.values[j], &v) == nil
}

// text is what a cell says.
func (r rowOf) text(j int, limits map[string]bool) (string, error) {
	var v any
	if err := json.Unmarshal(r.values[j], &v); err != nil {
		return "", err
	}
	key := r.keys[j]
	c := columns[key]
	switch v := v.(type) {
	case nil:
		return choose(c.none == "", "–", c.none) + r.interval(c, limits), nil
	case bool:
		return choose(v, "stands out", ""), nil
	case float64:
		say := choose(c.percent, percent, plain)
		if key == "year" {
			return strconv.Itoa(int(v)), nil
		}
		return say(v) + r.interval(c, limits), nil
	case string:
		switch {
		case v == "" && (key == "group" || key == "maker" || key == "model" || key == "outcome"):
			return "not known", nil
		case key == "measure":
			k, known := measure.Find(v)
			return choose(known, k.Name, choose(v == "", "not said", v)), nil
		case key == "component" || key == "mode" || key == "outcome":
			return spoken(v), nil
		}
		return v, nil
	case []any:
		words := make([]string, 0, len(v))
		for _, w := range v {
			words = append(words, fmt.Sprint(w))
		}
		return strings.Join(words, "; "), nil
	case map[string]any:
		return amounts(v), nil
	}
	return fmt.Sprint(v), nil
}

// interval is what stands behind a value that has limits. A value that was not
// reached can have a lower one all the same.
func (r rowOf) interval(c column, limits map[string]bool) string {
	low, ok := r.number(c.low)
	if !ok || !limits[c.low] {
		return ""
	}
	say := choose(c.percent, percentValue, plain)
	high := "not reached"
	if v, ok := r.number(c.high); ok {
		high = say(v)
	}
	return " (" + say(low) + " to " + high + ")"
}

// amounts are sums by currency.
func amounts(by map[string]any) string {
	var words []string
	for currency, sum := range by {
		words = append(words, fmt.Sprint(sum)+" "+currency)
	}
	slices.Sort(words)
	return choose(len(words) == 0, "nothing", strings.Join(words, ", "))
}

// link is where a cell leads: to the units behind its row, where they are found
// without going through all of them.
func (r rowOf) link(j int, question, by string, models map[string][2]string) string {
	text := r.word(r.keys[j])
	year, isYear := r.number("year")
	switch key := r.keys[j]; {
	case key == "tag" && text != "":
		return "/unit/" + url.PathEscape(text)
	case key == "tag":
		return "/unit/" + url.PathEscape(r.word("unit"))
	case key == "model":
		return modelPage(r.word("maker"), text)
	case key == "maker" && text != "", key == "group" && by == "maker" && text != "":
		return "/find?q=" + url.QueryEscape(text)
	case key == "group" && (by == "model" || by == "" && question == "norms"):
		return modelPage(models[text][0], models[text][1])
	case key == "group" && by == "year" && question != "failures" && len(text) == 4:
		return "/year/" + url.PathEscape(text)
	case key == "year" && question == "year" && isYear:
		return fmt.Sprintf("/year/%d", int(year))
	}
	return ""
}

// plain is a number with as many figures as a person reads.
func plain(v float64) string {
	switch size := math.Abs(v); {
	case v == math.Trunc(v) || size >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case size >= 1:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case size < 0.01:
		return strconv.FormatFloat(v, 'g', 2, 64)
	}
	return strconv.FormatFloat(v, 'f', 3, 64)
}

func percent(v float64) string { return percentValue(v) + " %" }

func percentValue(v float64) string {
	switch size := math.Abs(v) * 100; {
	case v == 0 || v == 1:
		return plain(v * 100)
	case size >= 0.95:
		return strconv.FormatFloat(v*100, 'f', 1, 64)
	case size >= 0.095:
		return strconv.FormatFloat(v*100, 'f', 2, 64)
	}
	return strconv.FormatFloat(v*100, 'g', 2, 64)
}
