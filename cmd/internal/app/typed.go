package app

import (
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/trade"
)

// What hands type at the bench, read into what an event says.

// Years reads a year made, or a range of years.
func Years(text string) (from, to int, err error) {
	if text == "" {
		return 0, 0, nil
	}
	a, b, ranged := strings.Cut(text, "-")
	a = strings.TrimSpace(a)
	if from, err = strconv.Atoi(a); err != nil || len(a) != 4 || !digits(a) {
		return 0, 0, &Wrong{"year " + text, "want a year like 1967 or years like 1965-67"}
	}
	if !ranged {
		return from, from, nil
	}
	b = strings.TrimSpace(b)
	if to, err = strconv.Atoi(b); err != nil || len(b) != 2 && len(b) != 4 || !digits(b) {
		return 0, 0, &Wrong{"year " + text, "want a year like 1967 or years like 1965-67"}
	}
	if len(b) == 2 {
		to += from / 100 * 100
	}
	if to < from {
		return 0, 0, &Wrong{"years " + text, "end before they begin"}
	}
	return from, to, nil
}

// Money reads an amount with two decimals at most into hundredths. It takes
// one form only: an amount that could be read in two ways is worse than one
// that has to be typed again.
func Money(text string) (int64, error) {
	whole, cents, dot := strings.Cut(strings.TrimPrefix(text, "$"), ".")
	if !dot {
		cents = "00"
	}
	n, err := strconv.ParseInt(whole, 10, 64)
	c, err2 := strconv.ParseInt(cents, 10, 64)
	if err != nil || err2 != nil || !digits(whole) || !digits(cents) || len(cents) != 2 || n > 1<<40 {
		return 0, &Wrong{"amount " + text, "want an amount like 120 or 120.50"}
	}
	return n*100 + c, nil
}

// digits reports whether a text is nothing else: a sign before digits reads as a
// number too, and 5.+1 is no amount.
func digits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// EvidenceFrom reads pieces of evidence like "date code=274-6342".
func EvidenceFrom(pieces []string) ([]events.Evidence, error) {
	var list []events.Evidence
	for _, p := range pieces {
		what, text, ok := strings.Cut(p, "=")
		if !ok || what == "" || text == "" {
			return nil, &Wrong{"evidence " + p, "want WHAT=TEXT, such as \"date code=274-6342\""}
		}
		list = append(list, events.Evidence{What: what, Text: text})
	}
	return list, nil
}

// Faults reads a finding in words, and lets what was said by name stand over
// what the words tell.
func Faults(text string, said events.FaultFound) []events.Body {
	read := Fault(text)
	if len(read) == 0 || said.Component != "" || said.Mode != "" || said.Designator != "" {
		b := said
		b.Text = text
		if len(read) == 1 {
			b.Component, b.Mode = orElse(b.Component, read[0].Component), orElse(b.Mode, read[0].Mode)
			b.Designator = orElse(b.Designator, read[0].Designator)
		}
		return []events.Body{b}
	}
	var bodies []events.Body
	for _, b := range read {
		b.Symptom, b.Cause, b.Sure = said.Symptom, said.Cause, said.Sure
		bodies = append(bodies, b)
	}
	return bodies
}

// PartTyped is a part as it is named at the bench.
type PartTyped struct {
	Designator, In, Out, Component, Reason, DateCode string
}

// Body reads the part's markings.
func (p PartTyped) Body() (events.PartReplaced, []string) {
	typed := strings.TrimSpace(p.Designator + " " + p.In)
	read := trade.ReadPart(typed)
	b := events.PartReplaced{Designator: read.Designator, Component: orElse(p.Component, read.Class), DateCode: p.DateCode, Reason: p.Reason, Text: typed}
	var notes, more []string
	b.In, notes = Marking(orElse(p.In, read.ValueText), Letters(b.Designator))
	b.Out, more = Marking(p.Out, Letters(b.Designator))
	return b, append(notes, more...)
}

// MeasureKind is a kind of measurement, for a list.
type MeasureKind struct {
	ID    string   `json:"id"`
	Name  string   `json:"name"`
	Units []string `json:"units"`
}

// MeasureKinds lists the kinds of measurement.
func MeasureKinds() []MeasureKind {
	list := make([]MeasureKind, 0, len(measure.Kinds))
	for _, k := range measure.Kinds {
		list = append(list, MeasureKind{k.ID, k.Name, k.Units})
	}
	return list
}

// YesNo reads a yes or a no as benches write it.
func YesNo(text string) (bool, error) {
	v, err := measure.Parse(text, measure.YesNo)
	if err != nil {
		return false, &Wrong{"answer " + text, "want yes or no"}
	}
	return v.Mant != 0, nil
}
