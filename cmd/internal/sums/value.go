package sums

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"oldhand/events/measure"
)

// ValuesTyped are markings to read.
type ValuesTyped struct {
	Markings []string
	Class    string // letters such as C for all of them; empty to try each
	Series   string // E6 to E96; empty for the one that goes with the tolerance
}

// Values are markings as they can be read.
type Values struct {
	Markings []Marking `json:"markings"`
}

// Marking is one marking. More than one reading is a question.
type Marking struct {
	Text     string    `json:"text"`
	Readings []Reading `json:"readings,omitempty"`
	Why      string    `json:"why_asked,omitempty"`
	Unread   string    `json:"unread,omitempty"`
}

// Reading is a marking read one way.
type Reading struct {
	Class     string     `json:"class"`
	As        string     `json:"as,omitempty"`
	Sections  []Quantity `json:"values"`
	Volts     []Quantity `json:"volts,omitempty"`
	Watts     *Quantity  `json:"watts,omitempty"`
	Tolerance string     `json:"tolerance,omitempty"`
	Nearest   []Nearest  `json:"nearest,omitempty"` // one for each value
	Doubts    []string   `json:"doubts,omitempty"`
}

// Quantity is an exact value: Mant times ten to the Exp, in a base unit by its
// UCUM code.
type Quantity struct {
	Text string `json:"text"`
	Mant int64  `json:"mant"`
	Exp  int8   `json:"exp"`
	Unit string `json:"unit"`
}

// Nearest is the preferred value nearest to one, and how far off it is.
type Nearest struct {
	Series  string  `json:"series"`
	Text    string  `json:"text"`
	Percent float64 `json:"off_percent"` // in tenths
}

// usualSeries is offered where no tolerance says another: what drawers hold.
const usualSeries = "E12"

// ReadValues reads markings. It refuses none at all, a series that there is not,
// and markings of which not one can be read.
func ReadValues(in ValuesTyped) (v Values, err error) {
	if len(in.Markings) == 0 {
		return v, errors.New("read values: there are none")
	}
	if in.Series != "" {
		in.Series = strings.ToUpper(in.Series)
		if _, _, err := measure.NearestE(in.Series, measure.Value{Mant: 1, Unit: measure.Ohm}); err != nil {
			return v, err
		}
	}
	read := 0
	for _, text := range in.Markings {
		m := marking(text, in)
		if m.Unread == "" {
			read++
		}
		v.Markings = append(v.Markings, m)
	}
	if read == 0 {
		return v, nothing(v.Told().Unread)
	}
	return v, nil
}

// ReadColours reads bands of resistors, one part a text.
func ReadColours(parts []string, series string) (Values, error) {
	return ReadValues(ValuesTyped{Markings: parts, Class: "R", Series: series})
}

func marking(text string, in ValuesTyped) Marking {
	m := Marking{Text: text}
	all, err := asClasses(text, in.Class)
	if err != nil {
		m.Unread = err.Error()
		return m
	}
	for _, c := range all {
		m.Readings = append(m.Readings, readingsOf(c, in.Series)...)
		if c.Ask != nil {
			m.Why = c.Ask.Why
		}
	}
	if len(all) > 1 {
		m.Why = "which part it is on is not said"
	}
	return m
}

func asClasses(text, class string) ([]measure.AsClass, error) {
	if class == "" {
		return measure.ParseAnyClass(text)
	}
	class = strings.ToUpper(class)
	p, err := measure.ParsePart(text, class)
	ask := (*measure.Ambiguous)(nil)
	switch {
	case errors.As(err, &ask):
	case err != nil:
		return nil, err
	case len(p.Sections) == 0:
		return nil, fmt.Errorf("read %q as a part of class %s: there is no value in it", text, class)
	}
	return []measure.AsClass{{Class: class, Name: measure.PartName(class), Part: p, Ask: ask}}, nil
}

// readingsOf is what a class makes of a marking: one reading, or those that are
// asked between.
func readingsOf(c measure.AsClass, series string) (list []Reading) {
	if c.Ask == nil {
		return []Reading{readingOf(c, c.Part.Sections, series)}
	}
	for _, v := range c.Ask.Readings {
		list = append(list, readingOf(c, []measure.Value{v}, series))
	}
	return list
}

func readingOf(c measure.AsClass, sections []measure.Value, series string) Reading {
	p := c.Part
	r := Reading{Class: c.Class, As: c.Name, Sections: quantities(sections), Volts: quantities(p.Volts), Tolerance: p.Tolerance.String(), Doubts: p.Doubts}
	if p.Watts.Unit != "" {
		r.Watts = &quantities([]measure.Value{p.Watts})[0]
	}
	series = cmp.Or(series, measure.SeriesFor(p.Tolerance), usualSeries)
	for _, v := range sections {
		if n, tenths, err := measure.NearestE(series, v); err == nil && hasSeries(v) {
			r.Nearest = append(r.Nearest, Nearest{series, n.Canonical(), float64(tenths) / 10})
		}
	}
	return r
}

// hasSeries reports whether parts of a unit are made in preferred values.
func hasSeries(v measure.Value) bool {
	return v.Unit == measure.Ohm || v.Unit == measure.Farad || v.Unit == measure.Henry
}

func quantities(values []measure.Value) (list []Quantity) {
	for _, v := range values {
		n := v.Normal()
		list = append(list, Quantity{v.Canonical(), n.Mant, n.Exp, string(n.Unit)})
	}
	return list
}

// Told is the answer for people.
func (v Values) Told() (t Told) {
	table := Table{Caption: "Markings", Head: []string{"marking", "as", "value", "rated", "tolerance", "nearest preferred"}}
	for _, m := range v.Markings {
		if m.Unread != "" {
			t.Unread = append(t.Unread, m.Unread)
			continue
		}
		var ways []string
		for _, r := range m.Readings {
			table.Rows = append(table.Rows, []string{m.Text, cmp.Or(r.As, r.Class), texts(r.Sections), r.rated(), r.Tolerance, r.nearest()})
			ways = append(ways, strings.TrimSpace(texts(r.Sections)+" "+m.asA(r)))
			for _, d := range r.Doubts {
				t.Words = append(t.Words, fmt.Sprintf("%s: %s.", m.Text, d))
			}
		}
		if m.Why != "" {
			t.Words = append(t.Words, fmt.Sprintf("%s: %s. Is it %s?", m.Text, m.Why, listed(ways, "or")))
		}
	}
	if len(table.Rows) > 0 {
		t.Tables = append(t.Tables, table)
	}
	return t
}

// asA says which part a reading is of, where that is what the readings differ in.
func (m Marking) asA(r Reading) string {
	if r.As == "" || m.Readings[0].Class == m.Readings[len(m.Readings)-1].Class {
		return ""
	}
	return "on a " + r.As
}

func texts(list []Quantity) string {
	var all []string
	for _, q := range list {
		all = append(all, q.Text)
	}
	return strings.Join(all, " + ")
}

func (r Reading) rated() string {
	var all []string
	for _, q := range r.Volts {
		all = append(all, q.Text)
	}
	if r.Watts != nil {
		all = append(all, r.Watts.Text)
	}
	return strings.Join(all, ", ")
}

// nearest says what a drawer has; of a value that is a preferred one itself, that.
func (r Reading) nearest() string {
	var all []string
	for i, n := range r.Nearest {
		switch {
		case n.Text == r.Sections[i].Text:
			all = append(all, n.Text+" ("+n.Series+")")
		default:
			all = append(all, fmt.Sprintf("%s (%s, %+.1f %%)", n.Text, n.Series, n.Percent))
		}
	}
	return strings.Join(all, ", ")
}
