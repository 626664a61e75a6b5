package web

import (
	"net/url"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/projections"
)

// unitsPage lists the units that a number of an answer counts.
type unitsPage struct {
	Question string // its name
	Title    string
	Of       []string // the row and the filters, in words
	Back     string   // the answer that the number stands in
	Units    []countedUnit
	Older    string // where the list goes on
	Part     bool   // it began elsewhere
	First    string // where it begins
}

type countedUnit struct {
	unitLine
	Times string // how often it is counted, where that is more than once
}

// rowNames are the keys that name a row, by question and by the key whose number
// counts units: what stands under them goes into the address. A key without a
// value in the row has the one that is given here.
var rowNames = map[string]map[string][]string{
	"rarity":     {"units": {"maker", "model"}},
	"failures":   {"units": {"group", "component", "mode"}, "of": {"group"}},
	"turnaround": {"open": {"group", "end=open"}, "closed": {"group", "end=closed"}},
	"comebacks":  {"within": {"fault"}},
	"parts":      {"used": {"component", "value"}},
	"outcomes":   {"visits": {"group", "outcome"}, "of": {"group"}},
}

func countsUnits(question, key string) bool { return rowNames[question][key] != nil }

// unitsLink is where the units behind a number are listed; nowhere for none.
func (r rowOf) unitsLink(key, question string, of tableOf) string {
	if n, ok := r.number(key); of.asked == nil || !ok || n == 0 || !slices.Contains(r.keys, rowNames[question][key][0]) {
		return ""
	}
	v := url.Values{}
	for name, list := range of.asked {
		if name != "group" { // of turnaround: which rows are shown
			v[name] = list
		}
	}
	for _, name := range rowNames[question][key] {
		name, value, given := strings.Cut(name, "=")
		if !given {
			value = r.word(name)
		}
		v.Set(name, value)
	}
	if m, ok := of.models[r.word("group")]; ok && of.by == "model" && v.Get("as-of") == "" {
		v.Set("maker", m[0]) // with both it is found without going through all units
		v.Set("model", m[1])
	}
	return "/fleet/" + url.PathEscape(question) + "/units?" + v.Encode()
}

// rowAsked is the row that an address names.
func (q *request) rowAsked(question string) projections.RowName {
	row, asked := projections.RowName{}, q.r.URL.Query()
	for _, names := range rowNames[question] {
		for _, name := range names {
			if name, _, _ = strings.Cut(name, "="); asked.Has(name) {
				row[name] = asked.Get(name)
			}
		}
	}
	return row
}

func units(q *request) error {
	a, err := q.asking()
	if err == nil {
		err = a.wrong
	}
	if err != nil {
		return err
	}
	row, last := q.rowAsked(a.question.Name), strings.TrimSpace(q.asked("after"))
	return q.live("units", "Units", q.unitsAt(a, row, last), func() (any, error) {
		p := unitsPage{Question: a.question.Name, Title: a.question.Title, Part: last != "", First: q.unitsAt(a, row, "")}
		p.Of, p.Back = a.rowWords(row), a.answerAt()
		units, more, err := q.shop.UnitsBehind(a.in, row, last, mostRows)
		if err != nil {
			return nil, err
		}
		for _, u := range units {
			c := countedUnit{unitLine: lineOfMatch(u.Match)}
			if u.Times > 1 {
				c.Times = events.Count(u.Times, "time")
			}
			p.Units = append(p.Units, c)
		}
		if more {
			p.Older = q.unitsAt(a, row, p.Units[len(p.Units)-1].Ref)
		}
		return p, nil
	})
}

// unitsAt is the address of a list of units, from behind one of them on.
func (q *request) unitsAt(a asking, row projections.RowName, last string) string {
	v := url.Values{}
	for name, list := range a.values {
		v[name] = list
	}
	for name, value := range row {
		v.Set(name, value)
	}
	if last != "" {
		v.Set("after", last)
	}
	at := "/fleet/" + url.PathEscape(a.question.Name) + "/units"
	if len(v) == 0 {
		return at
	}
	return at + "?" + v.Encode()
}

// answerAt is the answer that a list of units came from.
func (a asking) answerAt() string {
	v := url.Values{}
	for name, list := range a.values {
		if name != "group" {
			v[name] = list
		}
	}
	if a.question.Name == "rarity" {
		v.Del("maker") // they name the row
		v.Del("model")
	}
	a.values, a.part = v, 1
	return a.address("")
}

// rowWords are a row and the filters, said.
func (a asking) rowWords(row projections.RowName) (words []string) {
	say := func(key, none string) string {
		switch value, named := row[key]; {
		case !named:
			return ""
		case value == "":
			return none
		default:
			return spoken(value)
		}
	}
	switch fault := strings.TrimSpace(say("component", "no component") + " " + say("mode", "") + " " + say("value", "")); {
	case row["component"] == "" && a.question.Name != "parts":
	case a.question.Name == "parts":
		words = append(words, fault+choose(row["value"] == "", ", of no value or one that was not read", ""))
	default:
		words = append(words, fault)
	}
	by := choose(a.in.By == "" && len(a.question.By) > 0, a.question.By[:min(1, len(a.question.By))], []string{a.in.By})
	if group := row["group"]; len(by) > 0 && by[0] != "all" && a.question.Name != "rarity" {
		if _, named := row["group"]; named {
			words = append(words, groupingWords(a.question.Name, by[0])+" "+choose(group == "", "not known", choose(by[0] == "outcome" || by[0] == "kind", spoken(group), group)))
		}
	}
	if _, named := row["outcome"]; named {
		words = append(words, "ended: "+say("outcome", "not known"))
	}
	switch row["end"] {
	case "open":
		words = append(words, "still in the shop")
	case "closed":
		words = append(words, "in and out on known days")
	}
	switch row["fault"] {
	case "same":
		words = append(words, "back with the same fault")
	case "any":
		words = append(words, "back, with whatever fault")
	}
	for _, w := range a.words() {
		if !strings.HasPrefix(w, "by ") && !strings.HasPrefix(w, "of ") {
			words = append(words, w)
		}
	}
	return words
}
