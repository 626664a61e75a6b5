package app

import (
	"cmp"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/measure"
	"oldhand/projections"
)

// Habits are what hands at this shop usually type, the usual first: of the unit's
// model before all else, then of any unit of late, then of the trade's tables.
type Habits struct {
	Last *LastOfModel // nil where the model was not here before

	Makers, Models, Kinds           []string
	Findings, Components, Modes     []string
	Designators, Markings           []string
	Works                           []string
	Points, Instruments, Limits     []string
	Measures                        []string
	Outcomes, Carriers, Accessories []string
	Symptoms, Conditions, Evidence  []string
	Technicians, Currencies         []string
}

// LastOfModel is what was written of the unit of the same model that was here last.
type LastOfModel struct {
	Ref, Name string
	Day       string // on which it came in

	Readings []events.ReadingTaken // in order, one a point
	Reason   string                // of parts
	Charge   int64                 // in minor units; 0 for none
	Currency string
	Warranty int // days
	Carrier  string
}

// How many units habits are read off.
const (
	unitsOfModel = 12
	unitsLately  = 80
	mostOffered  = 40 // words a field
	ofModel      = 1000
)

// HabitsOf are the habits for a unit's forms.
func (s *Shop) HabitsOf(typed string) (h Habits, err error) {
	err = s.view(func(v *eventlog.View) error {
		u, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		h, err = s.habits(v, u)
		return err
	})
	return h, err
}

// HabitsAtIntake are the habits for a unit that is not known yet.
func (s *Shop) HabitsAtIntake() (h Habits, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err = s.habits(v, &projections.History{})
		return err
	})
	return h, err
}

func (s *Shop) habits(r projections.Reader, unit *projections.History) (Habits, error) {
	w := worded{}
	var last *LastOfModel
	if unit.Model != "" {
		same, err := projections.LatestOfModel(r, unit.Maker, unit.Model, s.now(), unitsOfModel)
		if err != nil {
			return Habits{}, err
		}
		for _, h := range same {
			w.unit(h, ofModel)
		}
		last = lastOfModel(same, unit)
	}
	if err := projections.Lately(r, s.now(), unitsLately, func(h *projections.History) { w.unit(h, 1) }); err != nil {
		return Habits{}, err
	}
	words, err := s.words.of(r, s.now())
	if err != nil {
		return Habits{}, err
	}
	for _, t := range words {
		w.say(t.Table, t.ID, 0)
	}
	for _, k := range measure.Kinds {
		w.say("kind of measurement", k.ID, 0)
	}
	return w.habits(last), nil
}

// lastOfModel is the unit that came in last, but for the one that is asked for,
// and of its visits the last one that has something to go by.
func lastOfModel(same []*projections.History, but *projections.History) *LastOfModel {
	var best *LastOfModel
	day := events.Day(0)
	for _, h := range same {
		if h.Root == but.Root {
			continue
		}
		for i := len(h.Visits) - 1; i >= 0; i-- {
			v := &h.Visits[i]
			came := dayOf(v.Received, events.EventID(v.ID))
			if len(v.Entries) < 2 || best != nil && came <= day {
				continue
			}
			best, day = lastVisitOf(h, v), came
			break
		}
	}
	return best
}

func lastVisitOf(h *projections.History, v *projections.Visit) *LastOfModel {
	l := &LastOfModel{Ref: orElse(firstTag(h), h.Root.String()), Name: nameOf(h.Maker, h.Model), Day: dayOf(v.Received, events.EventID(v.ID)).String()}
	for _, e := range v.Entries {
		switch b := e.Decode().(type) {
		case events.ReadingTaken:
			l.read(b)
		case events.PartReplaced:
			l.Reason = orElse(b.Reason, l.Reason)
		case events.EstimateGiven:
			l.Charge, l.Currency = b.Amount, b.Currency
		case events.Shipped:
			l.Carrier, l.Warranty = b.Carrier, b.WarrantyDays
			if b.Charge > 0 {
				l.Charge, l.Currency = b.Charge, b.Currency
			}
		}
	}
	return l
}

// read keeps the last reading of a point, in the place of the first.
func (l *LastOfModel) read(b events.ReadingTaken) {
	for i := range l.Readings {
		if l.Readings[i].Point == b.Point {
			l.Readings[i] = b
			return
		}
	}
	l.Readings = append(l.Readings, b)
}

// Point is the last reading at a point, however the point is spelled.
func (l *LastOfModel) Point(point string) (events.ReadingTaken, bool) {
	if l != nil {
		for _, r := range l.Readings {
			if strings.EqualFold(r.Point, point) {
				return r, true
			}
		}
	}
	return events.ReadingTaken{}, false
}

// worded counts words, each under what it is a word of.
type worded map[string]map[string]int

func (w worded) say(what, word string, weight int) {
	if word == "" || len(word) > 120 {
		return
	}
	if w[what] == nil {
		w[what] = map[string]int{}
	}
	w[what][word] += weight
}

func (w worded) unit(h *projections.History, weight int) {
	w.say("maker", h.Maker, weight)
	w.say("model", h.Model, weight)
	for _, v := range h.Visits {
		for _, e := range v.Entries {
			w.say("by", e.By, weight)
			w.entry(e.Decode(), weight)
		}
	}
}

func (w worded) entry(b events.Body, weight int) {
	say := func(pairs ...string) {
		for i := 0; i < len(pairs); i += 2 {
			w.say(pairs[i], pairs[i+1], weight)
		}
	}
	switch b := b.(type) {
	case events.Received:
		say("carrier", b.Carrier, "accessories", b.Accessories, "condition", b.Condition, "kind of set", b.KindOfSet)
	case events.Identified:
		for _, e := range b.Evidence {
			say("evidence", e.What)
		}
	case events.FaultFound:
		say("finding", b.Text, "component", b.Component, "failure mode", b.Mode, "designator", b.Designator, "symptom", b.Symptom)
	case events.PartReplaced:
		say("designator", b.Designator, "component", b.Component, "marking", b.In.Text, "marking", b.Out.Text)
	case events.WorkDone:
		say("work", b.Work, "component", b.Component, "designator", b.Designator)
	case events.ReadingTaken:
		say("point", b.Point, "instrument", b.Instrument, "limits", b.Limits, "kind of measurement", b.Measure)
	case events.Shipped:
		say("carrier", b.Carrier, "outcome", b.Outcome, "currency", b.Currency)
	case events.EstimateGiven:
		say("currency", b.Currency)
	}
}

// offered are the words of a field, the usual first, at most so many.
func (w worded) offered(what string, most int) []string {
	words := make([]string, 0, len(w[what]))
	for word := range w[what] {
		words = append(words, word)
	}
	slices.SortFunc(words, func(a, b string) int {
		return cmp.Or(cmp.Compare(w[what][b], w[what][a]), cmp.Compare(a, b))
	})
	return words[:min(len(words), most)]
}

func (w worded) habits(last *LastOfModel) Habits {
	all := 1 << 20 // a table is offered whole
	return Habits{Last: last,
		Makers: w.offered("maker", mostOffered), Models: w.offered("model", mostOffered), Kinds: w.offered("kind of set", all),
		Findings: w.offered("finding", mostOffered), Components: w.offered("component", all), Modes: w.offered("failure mode", all),
		Designators: w.offered("designator", mostOffered), Markings: w.offered("marking", mostOffered), Works: w.offered("work", all),
		Points: w.offered("point", mostOffered), Instruments: w.offered("instrument", mostOffered), Limits: w.offered("limits", mostOffered),
		Measures: w.offered("kind of measurement", all), Outcomes: w.offered("outcome", all), Carriers: w.offered("carrier", mostOffered),
		Accessories: w.offered("accessories", mostOffered), Conditions: w.offered("condition", mostOffered), Symptoms: w.offered("symptom", mostOffered),
		Evidence: w.offered("evidence", mostOffered), Technicians: w.offered("by", mostOffered), Currencies: w.offered("currency", mostOffered)}
}
