package web

import (
	"fmt"
	"net/url"
	"slices"
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
	b, notes, err := app.Reading(readingIn(form, text))
	if err != nil {
		return "", err
	}
	if says := app.ReadingSays(b, madeIn(form)); says != "" {
		notes = append([]string{says}, notes...)
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
	b, _, err := app.Reading(readingIn(form, text))
	if err != nil {
		return "", err
	}
	n, found, err := q.shop.Norm(unit, point, b.Measure)
	if err != nil || !found {
		return read, err
	}
	return joined(read, []string{n.Against(b)}), nil
}

// readingIn is a reading as the form has it.
func readingIn(form url.Values, text string) events.ReadingTaken {
	get := func(name string) string { return strings.TrimSpace(form.Get(name)) }
	return events.ReadingTaken{Point: get("point"), Text: strings.TrimSpace(text), Stage: get("stage"), Measure: withPoint(form, "kind"),
		Instrument: withPoint(form, "instrument"), Limits: withPoint(form, "limits"), Conditions: get("conditions"),
		Network: withPoint(form, "network"), Amplitude: withPoint(form, "amplitude")}
}

// besideVisit is what a reading that is being typed says together with those that
// the visit has.
func (q *request) besideVisit(text string, form url.Values) (said []string) {
	b, _, err := app.Reading(readingIn(form, text))
	if err != nil || b.Value.Unit == "" || q.shop == nil {
		return nil
	}
	u, err := q.shop.AtBench(form.Get("unit"))
	if err != nil {
		return nil // a form of another kind, or a unit that went meanwhile: its saving says so
	}
	made := yearOf(u.Year)
	had := app.VisitSums(u.Read, made)
	for _, s := range app.VisitSums(append(u.Read[:len(u.Read):len(u.Read)], b), made) {
		if !slices.Contains(had, s) {
			said = append(said, s)
		}
	}
	return said
}

// madeIn is the year that a form knows its unit was made in, 0 for none.
func madeIn(form url.Values) int { return yearOf(form.Get("made")) }

// yearOf is the first of the years that a page shows, 0 for none.
func yearOf(shown string) int {
	from, _, err := app.Years(strings.ReplaceAll(shown, " to ", "-"))
	if err != nil {
		return 0
	}
	return from
}

// dateCodeRead is every reading of a source-and-date code, those that differ in
// the year only in one; of several codes, each behind its part.
func dateCodeRead(text string) (string, error) {
	parts := measure.ReadDatedParts(text)
	if len(parts) == 1 {
		return oneCodeRead(parts[0].Code)
	}
	var read []string
	for _, p := range parts {
		said, err := oneCodeRead(p.Code)
		if err != nil {
			said = err.Error()
		}
		if p.Replaced {
			said += ", replaced"
		}
		read = append(read, p.Name+": "+said)
	}
	return strings.Join(read, "; "), nil
}

func oneCodeRead(text string) (string, error) {
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
