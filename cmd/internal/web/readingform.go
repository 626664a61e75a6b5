package web

import (
	"net/url"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// The form of a reading. It comes with the next point that was read on the last
// unit of the model, and with how it was read there. What came with a point goes
// with it: where another point is typed, nothing of the first is left.

// byPoint are the fields that come with a point.
var byPoint = []string{"kind", "instrument", "limits"}

func measureFields(d desk) []*field {
	stage := choose(d.unit.Worked, events.AsLeft, events.AsFound)
	next, known := nextPoint(d, stage)
	fields := []*field{
		{Name: "point", Label: "Point", Value: next.Point, Required: true, Suggest: d.usual.Points, Hint: "Where, like AM, or tuner out L."},
		{Name: "reading", Label: "Reading", Required: true, Echo: "reading", Hint: "Like 95 mV; ok or no for a check."},
		{Name: "stage", Label: "Stage", Kind: "select", Value: stage, Options: []option{{events.AsFound, "as found"}, {events.AsLeft, "as left"}, {"", "not said"}}},
		{Name: "kind", Label: "Kind of measurement", Value: next.Measure, Suggest: d.usual.Measures, Hint: "Where the point does not tell."},
		{Name: "instrument", Label: "Instrument", Value: next.Instrument, Suggest: d.usual.Instruments},
		{Name: "limits", Label: "Limits used", Value: next.Limits, Suggest: d.usual.Limits},
		{Name: "conditions", Label: "How it was read", Wide: true},
	}
	if known {
		fields[1].Hint = "It was " + next.Text + choose(next.Stage != "", " "+next.Stage, "") + " on " + d.usual.Last.Ref + ", in on " + d.usual.Last.Day + "."
	}
	return fields
}

// nextPoint is the first point of the last unit of the model that this visit has
// no reading of at this stage.
func nextPoint(d desk, stage string) (events.ReadingTaken, bool) {
	if d.usual.Last == nil {
		return events.ReadingTaken{}, false
	}
	for _, r := range d.usual.Last.Readings {
		if !hasRead(d.unit.Read, r.Point, stage) {
			return r, true
		}
	}
	return events.ReadingTaken{}, false
}

func hasRead(read []events.ReadingTaken, point, stage string) bool {
	for _, r := range read {
		if strings.EqualFold(r.Point, point) && r.Stage == stage {
			return true
		}
	}
	return false
}

// rememberPoint puts into a form what came with its point.
func rememberPoint(f *form) {
	for _, name := range append([]string{"point"}, byPoint...) {
		f.Hidden["habit-"+name] = f.value(name)
	}
}

// withPoint is the value of a field of the form, but nothing where it only came
// with another point.
func withPoint(v url.Values, name string) string {
	value := strings.TrimSpace(v.Get(name))
	if value == v.Get("habit-"+name) && !strings.EqualFold(strings.TrimSpace(v.Get("point")), v.Get("habit-point")) {
		return ""
	}
	return value
}

func measured(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	b := events.ReadingTaken{Point: f.value("point"), Text: f.value("reading"), Stage: f.value("stage"), Measure: withPoint(f.sent, "kind"),
		Instrument: withPoint(f.sent, "instrument"), Limits: withPoint(f.sent, "limits"), Conditions: f.value("conditions")}
	read, notes, err := app.Reading(b)
	if err != nil {
		return app.Saved{}, &app.Wrong{What: "kind", Why: err.Error()}
	}
	saved, err := s.Measure(unit, w, read)
	saved.Notes = append(notes, saved.Notes...)
	return saved, err
}

func numberText(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}
