package web

import (
	"fmt"
	"net/url"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/projections"
)

// What echoes say of findings, readings, date codes and units.

// findingRead is the faults that a finding is read as.
func findingRead(text string, form url.Values) (string, error) {
	said := events.FaultFound{Component: form.Get("component"), Mode: form.Get("mode"), Designator: form.Get("designator")}
	var read []string
	for _, b := range app.Faults(text, said) {
		f := b.(events.FaultFound) // which is all that Faults gives
		what := strings.Join(strings.Fields(f.Designator+" "+spoken(f.Component)+" "+spoken(f.Mode)), " ")
		read = append(read, choose(f.Component != "", what, "words only: "+f.Text))
	}
	return strings.Join(read, "; "), nil
}

// readingRead is a reading as it would be kept.
func readingRead(text string, form url.Values) (string, error) {
	b, notes, err := app.Reading(events.ReadingTaken{Point: strings.TrimSpace(form.Get("point")), Text: strings.TrimSpace(text), Measure: withPoint(form, "kind")})
	if err != nil {
		return "", err
	}
	k, ok := measure.Find(b.Measure)
	switch {
	case !ok:
		return joined("text, of no kind of measurement", notes), nil
	case b.Value.Unit == "":
		return joined(k.Name, notes), nil
	}
	return joined(k.Format(measure.Value{Mant: b.Value.Mant, Exp: b.Value.Exp, Unit: measure.Unit(b.Value.Unit)})+", "+k.Name, notes), nil
}

// besideUsual puts beside a reading what other sets of the unit's model read at its
// point.
func (q *request) besideUsual(read, text string, form url.Values) (string, error) {
	unit, point := form.Get("unit"), strings.TrimSpace(form.Get("point"))
	if unit == "" || point == "" || strings.TrimSpace(text) == "" || q.shop == nil {
		return read, nil
	}
	b, _, err := app.Reading(events.ReadingTaken{Point: point, Text: strings.TrimSpace(text), Measure: withPoint(form, "kind")})
	if err != nil {
		return "", err
	}
	n, found, err := q.shop.Norm(unit, point, b.Measure)
	if err != nil || !found {
		return read, err
	}
	return joined(read, []string{n.Against(b)}), nil
}

// evidenceRead reads a date code; of other evidence there is nothing to read.
func evidenceRead(what, text string) (string, error) {
	if !strings.Contains(strings.ToLower(what), "date") {
		return "", nil
	}
	return dateCodeRead(text)
}

// dateCodeRead is every reading of a source-and-date code, those that differ in
// the year only in one.
func dateCodeRead(text string) (string, error) {
	readings, err := measure.ReadDateCode(text, measure.UsualYears)
	if err != nil {
		return "", err
	}
	var read []string
	for i := 0; i < len(readings); {
		first, years := readings[i], []string{}
		for ; i < len(readings) && readings[i].Layout == first.Layout && readings[i].Week == first.Week; i++ {
			years = append(years, fmt.Sprint(readings[i].Year))
		}
		read = append(read, fmt.Sprintf("made about the %s week of %s, maker's number %s", projections.Ordinal(first.Week), anyOf(years), first.Maker))
	}
	return strings.Join(read, "; or "), nil
}

// anyOf is "1954, 1964 or 1974".
func anyOf(words []string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " or " + words[n-1]
}

// unitRead is the unit that a text names.
func (q *request) unitRead(text string) (string, error) {
	if strings.TrimSpace(text) == "" || q.shop == nil {
		return "", nil
	}
	u, err := q.shop.AtBench(text)
	if err != nil {
		return "", err
	}
	return strings.Join(strings.Fields(u.Tag+" "+nameOf(u.Maker, u.Model)+" "+u.Serial), " "), nil
}
