package sums

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/events/measure"
)

// DateCodesTyped are codes to read together: the parts of one set.
type DateCodesTyped struct {
	Parts  []measure.DatedPart
	Window measure.YearWindow // zero for the usual
	// StatedFrom and StatedTo are the years made that somebody stated, 0 for none.
	StatedFrom, StatedTo int
}

// DateCodes are codes as they can be read, and what they say of the set.
type DateCodes struct {
	Codes []DateCode `json:"codes"`
	Built *Built     `json:"built,omitempty"` // none where no original part can be read
}

// DateCode is one code in every reading.
type DateCode struct {
	Part     string        `json:"part,omitempty"` // its name, where it has one
	Code     string        `json:"code"`
	Replaced bool          `json:"replaced,omitempty"` // it says nothing of the set
	Readings []DateReading `json:"readings,omitempty"`
	Unread   string        `json:"unread,omitempty"` // why it can't be read
}

// DateReading is one reading: a week, as the days that it lies in by every rule.
type DateReading struct {
	Layout  string `json:"layout"` // digits of number, year, week
	Maker   string `json:"maker_number"`
	Year    int    `json:"year"`
	Week    int    `json:"week"`
	From    string `json:"from"`
	To      string `json:"to"`
	NotISO  bool   `json:"not_an_iso_week,omitempty"`
	Outside bool   `json:"outside_window,omitempty"`
}

// Built is what the original parts say of when the set was built.
type Built struct {
	NotBefore  string   `json:"not_before"`
	Newest     Dated    `json:"newest"`
	Second     *Dated   `json:"second_newest,omitempty"`
	GapDays    int      `json:"gap_days,omitempty"`
	LoneNewest bool     `json:"newest_stands_alone,omitempty"`
	Later      []string `json:"not_before_by_other_readings,omitempty"`
	LeftOut    []string `json:"left_out,omitempty"`
	// Proposed is a year made for a person to take; none where one was stated.
	Proposed     int    `json:"proposed_year,omitempty"`
	Alternatives []int  `json:"or_years,omitempty"`
	Evidence     string `json:"evidence"`
	Stated       string `json:"stated_year,omitempty"`
	Contradicted bool   `json:"stated_year_contradicted,omitempty"`
}

// Dated is a part with its code.
type Dated struct {
	Part string `json:"part,omitempty"`
	Code string `json:"code"`
	Year int    `json:"year"`
}

// ReadDateCodes reads codes. It refuses none at all, and codes of which not one
// can be read.
func ReadDateCodes(in DateCodesTyped) (d DateCodes, err error) {
	if len(in.Parts) == 0 {
		return d, errors.New("read date codes: there are none")
	}
	if in.Window == (measure.YearWindow{}) {
		in.Window = measure.UsualYears
	}
	read := 0
	for _, p := range in.Parts {
		c := dateCode(p, in.Window)
		if c.Unread == "" {
			read++
		}
		d.Codes = append(d.Codes, c)
	}
	if read == 0 {
		return d, nothing(d.Told().Unread)
	}
	if b, err := measure.BuiltNoEarlierThan(in.Parts, in.Window); err == nil {
		d.Built = built(b, in)
	}
	return d, nil
}

// nameOf is a part's name, empty where its code stands for it.
func nameOf(p measure.DatedPart) string {
	if p.Name == p.Code {
		return ""
	}
	return p.Name
}

func dateCode(p measure.DatedPart, w measure.YearWindow) DateCode {
	c := DateCode{Part: nameOf(p), Code: p.Code, Replaced: p.Replaced}
	readings, err := measure.ReadDateCode(p.Code, w)
	if err != nil {
		c.Unread = err.Error()
	}
	for _, r := range readings {
		c.Readings = append(c.Readings, DateReading{Layout: r.Layout, Maker: r.Maker, Year: r.Year, Week: r.Week,
			From: r.From.Format(time.DateOnly), To: r.To.Format(time.DateOnly), NotISO: r.NotISO, Outside: r.Outside})
	}
	return c
}

func built(b measure.BuiltAfter, in DateCodesTyped) *Built {
	out := &Built{NotBefore: b.Day.Format(time.DateOnly), Newest: dated(b.Newest), GapDays: b.GapDays, LoneNewest: b.LoneNewest(), LeftOut: b.LeftOut}
	if b.Counted > 1 {
		second := dated(b.Second)
		out.Second = &second
	}
	for _, day := range b.Later {
		out.Later = append(out.Later, day.Format(time.DateOnly))
	}
	out.Evidence = strings.TrimSpace(out.Newest.Part + " " + out.Newest.Code)
	if in.StatedFrom == 0 && in.StatedTo == 0 {
		out.Proposed, out.Alternatives = b.Year(), b.LaterYears()
		return out
	}
	out.Stated, out.Contradicted = events.YearsText(in.StatedFrom, in.StatedTo), b.Contradicts(in.StatedFrom, in.StatedTo)
	return out
}

func dated(d measure.DatedAt) Dated { return Dated{nameOf(d.Part), d.Part.Code, d.Reading.Year} }

func (d Dated) String() string {
	if d.Part == "" {
		return d.Code
	}
	return d.Part + " (" + d.Code + ")"
}

// Told is the answer for people.
func (d DateCodes) Told() (t Told) {
	table := Table{Caption: "Codes", Head: []string{"part", "code", "maker's number", "year", "week", "made between", "remark"}, Numbers: map[int]bool{3: true, 4: true}}
	for _, c := range d.Codes {
		if c.Unread != "" {
			t.Unread = append(t.Unread, strings.TrimPrefix(strings.TrimSpace(c.Part+": "+c.Unread), ": "))
		}
		for _, r := range c.Readings {
			table.Rows = append(table.Rows, []string{c.Part, c.Code, r.Maker, fmt.Sprint(r.Year), fmt.Sprintf("%02d", r.Week), r.From + " to " + r.To, r.remark(c.Replaced)})
		}
	}
	if len(table.Rows) > 0 {
		t.Tables = append(t.Tables, table)
	}
	if d.Built != nil {
		t.Words = d.Built.Words()
	}
	return t
}

func (r DateReading) remark(replaced bool) string {
	var words []string
	if replaced {
		words = append(words, "replaced, not counted")
	}
	if r.NotISO {
		words = append(words, "the year has 52 weeks by ISO 8601")
	}
	if r.Outside {
		words = append(words, "outside the years asked for")
	}
	return strings.Join(words, "; ")
}

// Words say it for people, in sentences.
func (b *Built) Words() []string {
	words := []string{fmt.Sprintf("Not built before %s, by %s, the newest original part.", b.NotBefore, b.Newest)}
	if b.Second != nil {
		words = append(words, fmt.Sprintf("The second newest is %s, %s older.", *b.Second, days(b.GapDays)))
	}
	if b.LoneNewest {
		words = append(words, fmt.Sprintf("%s stands alone: it may have been replaced. If it was, mark it as replaced, and it does not count.", b.Newest))
	}
	if len(b.Later) > 0 {
		words = append(words, "Other readings of one-digit years would make that "+listed(b.Later, "or")+".")
	}
	return append(words, b.yearWords())
}

func (b *Built) yearWords() string {
	switch {
	case b.Contradicted:
		return fmt.Sprintf("%s is stated as the year made, and the codes speak against it: %s was made later. What was stated stands until a person changes it.", b.Stated, b.Newest)
	case b.Stated != "":
		return fmt.Sprintf("%s is stated as the year made, and stands: the codes do not speak against it.", b.Stated)
	case len(b.Alternatives) > 0:
		return fmt.Sprintf("Proposed year made: %d, or %s by other readings. Parts lie in stock, so a set may be younger than every code.", b.Proposed, listed(numbers(b.Alternatives), "or"))
	}
	return fmt.Sprintf("Proposed year made: %d. Parts lie in stock, so a set may be younger than every code.", b.Proposed)
}

func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}
