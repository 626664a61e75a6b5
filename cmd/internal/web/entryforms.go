package web

import (
	"net/url"
	"slices"
	"strings"

	"oldhand/cmd/internal/app"
)

// Forms about what is written already: correct, take back, bring back, join and
// part.

func whyField() *field {
	return &field{Name: "why", Label: "Why", Wide: true}
}

// entryOptions are entries to choose from, the last first.
func entryOptions(lines []app.BenchLine) []option {
	list := make([]option, 0, len(lines))
	for i := len(lines) - 1; i >= 0; i-- {
		l := lines[i]
		list = append(list, option{l.Event, dayOf(l.At) + "  " + short(l.Line)})
	}
	return list
}

// short keeps a line to what a row of a select holds.
func short(line string) string {
	const most = 90
	r := []rune(line)
	if len(r) <= most {
		return line
	}
	return string(r[:most]) + "…"
}

func withdrawFields(d desk) []*field {
	return []*field{{Name: "entry", Label: "Entry", Kind: "select", Value: d.entry, Options: entryOptions(d.unit.All), Wide: true}, whyField()}
}

func withdraw(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Withdraw(unit, f.value("entry"), f.value("why"), w)
}

func restoreFields(d desk) []*field {
	return []*field{{Name: "entry", Label: "Entry that was taken back", Kind: "select", Value: d.entry, Options: entryOptions(d.unit.Withdrawn), Wide: true}, whyField()}
}

func restore(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Restore(unit, f.value("entry"), f.value("why"), w)
}

func otherFields(d desk) []*field {
	return []*field{{Name: "other", Label: "The other unit", Value: d.other, Required: true, Echo: "unit", Hint: "Its tag or its serial."},
		{Name: "why", Label: "How that is known", Wide: true}}
}

func same(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Same(unit, f.value("other"), f.value("why"), w)
}

func apart(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Apart(unit, f.value("other"), f.value("why"), w)
}

// was and set begin the names of what a field was when the form was drawn, and of
// what it is to be. Only what a hand changed is corrected.
const (
	was = "was-"
	set = "set-"
)

// correctForm puts the fields of an entry into the form.
func correctForm(f *form, d desk, fields []app.Correctable) {
	f.Hidden["entry"] = d.entry
	var mine []*field
	for _, c := range fields {
		f.Hidden[was+c.Name] = c.Value
		f.Hidden["number-"+c.Name] = choose(c.Number, "yes", "")
		x := &field{Name: set + c.Name, Label: fieldLabel(c.Name), Value: c.Value, Wide: len(c.Value) > 40}
		if strings.Contains(c.Value, "\n") {
			x.Kind = "area"
		}
		switch c.Name {
		case "at":
			x.Echo = "when"
		case "component":
			x.Suggest = d.usual.Components
		case "mode":
			x.Suggest = d.usual.Modes
		case "work":
			x.Suggest = d.usual.Works
		}
		mine = append(mine, x)
	}
	f.Fields = append(append(mine, whyField()), f.Fields...)
	for i, x := range f.Fields {
		x.Focus = i == 0
	}
}

// sentFields are the fields of a correction as they were sent.
func sentFields(sent url.Values) (fields []app.Correctable) {
	for name := range sent {
		if bare, ok := strings.CutPrefix(name, set); ok {
			fields = append(fields, app.Correctable{Name: bare, Value: sent.Get(was + bare), Number: sent.Get("number-"+bare) != ""})
		}
	}
	slices.SortFunc(fields, func(a, b app.Correctable) int { return strings.Compare(a.Name, b.Name) })
	return fields
}

// fieldLabel is the name of a field in words.
func fieldLabel(name string) string {
	switch name {
	case "at":
		return "It was so"
	case "by":
		return "Written by"
	}
	s := strings.ReplaceAll(name, "-", " ")
	return strings.ToUpper(s[:1]) + s[1:]
}

// changed are the assignments of a correction: what was typed over.
func changed(f *form, sent url.Values) (list []string) {
	for _, x := range f.Fields {
		name, ok := strings.CutPrefix(x.Name, set)
		if !ok || x.Value == oneBreak(sent.Get(was+name)) {
			continue
		}
		value := x.Value
		if value == "" && sent.Get("number-"+name) != "" {
			value = "0"
		}
		list = append(list, name+"="+value)
	}
	return list
}

func correct(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	list := changed(f, f.sent)
	if len(list) == 0 {
		return app.Saved{}, &app.Wrong{What: "the correction", Why: "nothing in it differs from what is there"}
	}
	return s.Correct(unit, f.sent.Get("entry"), list, f.value("why"), w)
}
