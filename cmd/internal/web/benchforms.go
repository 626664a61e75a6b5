package web

import (
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// meterCaution is the usual one, as a form says it.
var meterCaution = strings.Replace(app.MeterCaution, "the limit used with --limits", "the limit used beside it", 1)

// act is one thing that is done at the bench: a form, and what it saves. Each
// saves what the command of its name does.
type act struct {
	name    string // in addresses; the form's id
	key     string // the letter that opens it
	word    string // in the list of what can be done
	submit  string
	opens   bool   // it is done at an open set
	caution string // besides
	always  bool   // it goes while the unit stands on no bench
	fields  func(d desk) []*field
	do      func(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error)
}

// desk is what the forms of a unit are drawn from.
type desk struct {
	unit  app.AtBench
	usual app.Habits
	entry string // the end of the id of an entry that was chosen
	other string // another unit that was chosen
}

// acts is what can be done at the bench, in the order in which work goes. No two
// have one key.
func acts() []act {
	return []act{
		{name: "identify", key: "i", word: "Identify", submit: "Save what it is", always: true, fields: identifyFields, do: identify},
		{name: "diagnose", key: "d", word: "Diagnose", submit: "Save the fault", opens: true, fields: diagnoseFields, do: diagnose},
		{name: "none", key: "n", word: "No fault found", submit: "Save that no fault was found", opens: true, fields: wordsField("What was tried"), do: noneFound},
		{name: "estimate", key: "e", word: "Estimate", submit: "Save the estimate", fields: estimateFields, do: estimate},
		{name: "answer", key: "a", word: "Answer to it", submit: "Save the answer", fields: answerFields, do: answer},
		{name: "wait", key: "p", word: "Pause: it waits", submit: "Save what it waits for", fields: waitFields, do: wait},
		{name: "resume", key: "g", word: "Go on", submit: "Save that the wait is over", fields: wordsField("Words"), do: resume},
		{name: "replace", key: "r", word: "Replace a part", submit: "Save the part", opens: true, fields: replaceFields, do: replace},
		{name: "work", key: "w", word: "Work done", submit: "Save the work", opens: true, fields: workFields, do: work},
		{name: "measure", key: "m", word: "Measure", submit: "Save the reading", opens: true, caution: meterCaution, fields: measureFields, do: measured},
		{name: "test", key: "t", word: "Test verdict", submit: "Save the verdict", caution: app.TestCaution, fields: testFields, do: test},
		{name: "ship", key: "s", word: "Ship", submit: "Save that it left", fields: shipFields, do: ship},
		{name: "note", key: "o", word: "Note", submit: "Save the note", always: true, fields: noteFields, do: note},
		{name: "correct", key: "c", word: "Correct", submit: "Save the correction", always: true, do: correct},
		{name: "withdraw", key: "x", word: "Take back", submit: "Take it back", always: true, fields: withdrawFields, do: withdraw},
		{name: "restore", key: "z", word: "Bring back", submit: "Bring it back", always: true, fields: restoreFields, do: restore},
		{name: "same", key: "j", word: "Join: same set", submit: "Join the two", always: true, fields: otherFields, do: same},
		{name: "apart", key: "k", word: "Keep apart", submit: "Part the two", always: true, fields: otherFields, do: apart},
	}
}

func actNamed(name string) (act, bool) {
	for _, a := range acts() {
		if a.name == name {
			return a, true
		}
	}
	return act{}, false
}

// form is the act's form, with what is usual in it.
func (a act) form(d desk, ref, by string) *form {
	f := &form{ID: a.name, Action: "/unit/" + ref + "/bench/" + a.name, Submit: a.submit, Once: newOnce(), Hidden: map[string]string{"seen": d.unit.Seen}}
	if a.fields != nil {
		f.Fields = a.fields(d)
	}
	f.Fields = append(f.Fields, whoFields(d.usual, by)...)
	if len(f.Fields) > 0 {
		f.Fields[0].Focus = true
	}
	return f
}

// whoFields are when it was so, and who says it.
func whoFields(usual app.Habits, by string) []*field {
	return []*field{
		{Name: "at", Label: "When", Echo: "when", Hint: "Empty for now; else like 2026-11-20."},
		{Name: "by", Label: "By", Value: by, Suggest: usual.Technicians, Hint: "Your short name; it stays."}}
}

// whoOf reads them.
func whoOf(f *form) (app.Who, error) {
	at, err := app.ParseAt(f.value("at"))
	if err != nil {
		return app.Who{}, &app.Wrong{What: "at", Why: err.Error()}
	}
	return app.Who{At: at, By: f.value("by")}, nil
}

// options are the rows of a select.
func options(words ...string) []option {
	list := make([]option, 0, len(words))
	for _, w := range words {
		list = append(list, option{w, spoken(w)})
	}
	return list
}

// numberIn is a whole number that was typed, none for nothing.
func numberIn(f *form, name string) (int, error) {
	text := f.value(name)
	if text == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, &app.Wrong{What: name, Why: "want a whole number, not " + text}
	}
	return n, nil
}

// moneyIn is an amount that was typed; the field is named where it can't be read.
func moneyIn(f *form, name string) (int64, error) {
	minor, err := app.Money(f.value(name))
	if err != nil {
		return 0, &app.Wrong{What: name, Why: err.Error()}
	}
	return minor, nil
}

func wordsField(label string) func(desk) []*field {
	return func(desk) []*field { return []*field{{Name: "text", Label: label, Wide: true}} }
}

func identifyFields(d desk) []*field {
	return []*field{
		{Name: "maker", Label: "Maker", Suggest: d.usual.Makers},
		{Name: "model", Label: "Model", Suggest: d.usual.Models},
		{Name: "serial", Label: "Serial", Hint: "Only what you say here is changed; an empty field says nothing."},
		{Name: "year", Label: "Year made", Echo: "year", Hint: "Like 1967, or 1965-67."},
		{Name: "kind", Label: "Kind of set", Suggest: d.usual.Kinds},
		{Name: "evidence", Label: "What says so", Suggest: withWords(d.usual.Evidence, "date code", "label", "schematic")},
		{Name: "reads", Label: "As it reads", Echo: "evidence", Wide: true, Hint: "Like 274-6342; of several parts: T1 274-6342, C4 134-7812 replaced."},
		{Name: "evidence2", Label: "What else says so", Suggest: withWords(d.usual.Evidence, "date code", "label", "schematic")},
		{Name: "reads2", Label: "As that reads", Echo: "evidence2", Wide: true},
	}
}

// withWords are suggestions and the words that go behind them, without repeats.
func withWords(first []string, more ...string) []string {
	list := append([]string(nil), first...)
	for _, w := range more {
		if !contains(list, w) {
			list = append(list, w)
		}
	}
	return list
}

func contains(list []string, w string) bool {
	for _, have := range list {
		if strings.EqualFold(have, w) {
			return true
		}
	}
	return false
}

func identify(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	b := events.Identified{Maker: f.value("maker"), Model: f.value("model"), Serial: f.value("serial"), KindOfSet: f.value("kind")}
	var err error
	if b.YearFrom, b.YearTo, err = app.Years(f.value("year")); err != nil {
		return app.Saved{}, &app.Wrong{What: "year", Why: err.Error()}
	}
	var pieces []string
	for _, n := range []string{"", "2"} {
		what, reads := f.value("evidence"+n), f.value("reads"+n)
		if what != "" || reads != "" {
			pieces = append(pieces, what+"="+reads)
		}
	}
	if b.Evidence, err = app.EvidenceFrom(pieces); err != nil {
		return app.Saved{}, &app.Wrong{What: "evidence", Why: "say both what it is and how it reads"}
	}
	return s.Record(unit, w, b)
}

func diagnoseFields(d desk) []*field {
	return []*field{
		{Name: "finding", Label: "What was found", Echo: "finding", Suggest: d.usual.Findings, Wide: true, Hint: "In the bench's words, like: filter caps leaky; vol. control scratchy."},
		{Name: "symptom", Label: "What it does", Suggest: d.usual.Symptoms},
		{Name: "cause", Label: "Why it failed"},
		{Name: "component", Label: "Component", Suggest: d.usual.Components, Hint: "Where the words do not tell."},
		{Name: "mode", Label: "Failure mode", Suggest: d.usual.Modes},
		{Name: "designator", Label: "Designator", Suggest: d.usual.Designators},
		{Name: "sure", Label: "How sure", Kind: "select", Options: []option{{"", "certain"}, {"likely", "likely"}, {"suspected", "suspected"}}},
	}
}

func diagnose(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	said := events.FaultFound{Symptom: f.value("symptom"), Component: f.value("component"), Mode: f.value("mode"), Designator: f.value("designator"), Cause: f.value("cause"), Sure: f.value("sure")}
	return s.Record(unit, w, app.Faults(f.value("finding"), said)...)
}

func noneFound(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Record(unit, w, events.NoFaultFound{Text: f.value("text")})
}

func replaceFields(d desk) []*field {
	reason := ""
	if d.usual.Last != nil {
		reason = d.usual.Last.Reason
	}
	return []*field{
		{Name: "designator", Label: "Part", Required: true, Suggest: d.usual.Designators, Hint: "Its designator, like C14, or its name."},
		{Name: "in", Label: "Went in", Echo: "marking", Suggest: d.usual.Markings, Hint: "The marking, like .047 MFD 400V."},
		{Name: "out", Label: "Came out", Echo: "marking", Suggest: d.usual.Markings},
		{Name: "reason", Label: "Reason", Kind: "select", Value: reason, Options: append([]option{{"", "not said"}}, options("failed", "preventive", "upgraded")...)},
		{Name: "component", Label: "Component", Suggest: d.usual.Components, Hint: "Where the designator does not tell."},
		{Name: "datecode", Label: "Date code of the old one", Echo: "datecode"},
	}
}

func replace(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	p := app.PartTyped{Designator: f.value("designator"), In: f.value("in"), Out: f.value("out"), Component: f.value("component"), Reason: f.value("reason"), DateCode: f.value("datecode")}
	b, notes := p.Body()
	saved, err := s.Record(unit, w, b)
	saved.Notes = append(notes, saved.Notes...)
	return saved, err
}

func workFields(d desk) []*field {
	return []*field{
		{Name: "work", Label: "Work", Required: true, Suggest: d.usual.Works, Hint: "Like cleaned, or realigned."},
		{Name: "component", Label: "On", Suggest: d.usual.Components},
		{Name: "designator", Label: "Designator", Suggest: d.usual.Designators},
		{Name: "minutes", Label: "Minutes", Kind: "number", Hint: "Of bench time."},
		{Name: "text", Label: "Words", Wide: true},
	}
}

func work(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	n, err := numberIn(f, "minutes")
	if err != nil {
		return app.Saved{}, err
	}
	return s.Record(unit, w, events.WorkDone{Work: f.value("work"), Component: f.value("component"), Designator: f.value("designator"), Minutes: n, Text: f.value("text")})
}

func noteFields(desk) []*field {
	return []*field{{Name: "text", Label: "Note", Kind: "area", Wide: true, Required: true}}
}

func note(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Record(unit, w, events.Note{Text: f.value("text")})
}
