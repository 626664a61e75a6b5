package app

import (
	"errors"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/trade"
)

// How what was typed becomes a body. What can't be read stays text and is said
// so; nothing typed is lost or refused for being unreadable.

// Marking reads a part's marking. The class letters decide what "K" means; the
// notes say what a person should look at.
func Marking(text, letters string) (m events.Marking, notes []string) {
	m.Text = strings.TrimSpace(text)
	if m.Text == "" {
		return m, nil
	}
	p, err := measure.ParsePart(m.Text, letters)
	var unclear *measure.Ambiguous
	switch {
	case errors.As(err, &unclear):
		return m, []string{unclear.Error()}
	case err != nil:
		return m, []string{"kept as text: " + err.Error()}
	}
	for _, v := range p.Sections {
		if q, ok := quantityOf(v); ok {
			m.Sections = append(m.Sections, q)
		}
	}
	if len(p.Volts) > 0 {
		if v := int(p.Volts[0].Float()); v >= 1 && v <= 1_000_000 {
			m.Volts = v
		}
	}
	return m, p.Doubts
}

func quantityOf(v measure.Value) (events.Quantity, bool) {
	n := v.Normal()
	return events.Quantity{Mant: n.Mant, Exp: n.Exp, Unit: string(n.Unit)}, v.Unit != ""
}

func valueOf(q events.Quantity) measure.Value {
	return measure.Value{Mant: q.Mant, Exp: q.Exp, Unit: measure.Unit(q.Unit)}
}

// readingText is a reading as typed, with its unit where it was typed without, and
// with what tells it from another of the same number: rms or peak, and the network.
func readingText(b events.ReadingTaken) string {
	text := b.Text
	if k, ok := measure.Find(b.Measure); ok && b.Value.Unit != "" && !strings.ContainsFunc(b.Text, isUnitLetter) {
		text = k.Format(valueOf(b.Value))
	}
	if b.Amplitude != "" {
		text += " " + b.Amplitude
	}
	if b.Network != "" {
		text += " over " + b.Network
	}
	return text
}

func isUnitLetter(r rune) bool {
	return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r > 0x7f || r == '%'
}

// Reading fills in what a reading's text says, by its kind of measurement.
func Reading(b events.ReadingTaken) (events.ReadingTaken, []string, error) {
	if b.Network != "" {
		n, err := measure.FindNetwork(b.Network)
		if err != nil {
			return b, nil, &Wrong{"network " + b.Network, "is not known; there are hot-check and iec60990"}
		}
		b.Measure = orElse(b.Measure, networkKind(n, b.Text))
	}
	if b.Measure == "" {
		b.Measure = measureOf(b.Point, b.Text)
	}
	b.Value = events.Quantity{}
	if b.Measure == "" {
		return b, nil, nil
	}
	k, ok := measure.Find(b.Measure)
	if !ok {
		return b, nil, &Wrong{"kind of measurement", b.Measure + " is not in the table; see: oldhand measure --kinds"}
	}
	v, notes, err := k.Read(b.Text)
	if err != nil {
		return b, []string{"kept as text: " + err.Error()}, nil
	}
	b.Value, _ = quantityOf(v)
	return b, notes, nil
}

// measureOf guesses the kind of measurement from the point, where the trade
// leaves no doubt: levels of the two bands.
func measureOf(point, text string) string {
	switch strings.ToUpper(strings.TrimSpace(point)) {
	case "AM":
		return levelOrDial(text, "audio-level-am", "dial-am")
	case "FM":
		return levelOrDial(text, "audio-level-fm", "dial-fm")
	}
	return safetyKind(point)
}

// safetyKind knows the words for readings of what a set lets through.
func safetyKind(point string) string {
	p := strings.ToLower(point)
	switch {
	case strings.Contains(p, "hot check"):
		return "hot-check-voltage"
	case strings.Contains(p, "leakage"), strings.Contains(p, "touch current"):
		return "touch-current"
	}
	return ""
}

// networkKind is the kind of a reading that was taken over a network: of the
// voltage over it, or of the current that a meter made of that.
func networkKind(n measure.Network, text string) string {
	if _, err := measure.Parse(text, measure.Current); err == nil {
		return "touch-current"
	}
	return n.ReadingID
}

func levelOrDial(text, level, dial string) string {
	if strings.Contains(strings.ToLower(text), "hz") {
		return dial
	}
	return level
}

// Fault reads a finding in the trade's words into faults, keeping the words.
func Fault(text string) []events.FaultFound {
	var faults []events.FaultFound
	for _, f := range trade.Read(text) {
		faults = append(faults, faultOf(f))
	}
	return faults
}

func faultOf(f trade.Finding) events.FaultFound {
	b := events.FaultFound{Component: f.Component, Mode: f.Mode, Designator: strings.Join(f.Designators, "/"), Text: f.Text}
	if b.Component == "" {
		b.Mode = ""
	}
	return b
}

// partOf is a part as an old book has it.
func partOf(p trade.Part) (events.PartReplaced, []string) {
	in, notes := Marking(p.ValueText, Letters(p.Designator))
	return events.PartReplaced{Designator: p.Designator, Component: p.Class, In: in, Text: p.Text}, notes
}

// Letters are the class letters of a designator: the C of C14.
func Letters(designator string) string {
	i := strings.IndexFunc(designator, func(r rune) bool { return r < 'A' || r > 'Z' })
	if i < 0 {
		return designator
	}
	return designator[:i]
}
