package sheettext

import (
	"errors"
	"fmt"
	"strings"

	"oldhand/cmd/internal/shown"
	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/sheets"

	"github.com/BurntSushi/toml"
)

// file is a sheet as it is typed.
type file struct {
	Name  string  `toml:"name"`
	Kind  string  `toml:"kind"`
	Maker string  `toml:"maker"`
	Model string  `toml:"model"`
	Check []check `toml:"check"`
}

type check struct {
	Label      string `toml:"label"`
	Point      string `toml:"point"`
	Measure    string `toml:"measure"`
	Limits     string `toml:"limits"`
	OnlyWhere  string `toml:"only-where"`
	Conditions string `toml:"conditions"`
	Instrument string `toml:"instrument"`
	Stage      string `toml:"stage"`
	Source     string `toml:"source"`
}

// head stands over every sheet that is written.
const head = `# A test sheet: its checks in the order in which they are made.
# limits: 62 to 88 mV; at most 0.5 mA; at least 20 dB; within 3 dB of AM; 1000 kHz +- 5 kHz.
# measure = "check" is a yes or no, and right when it is yes. only-where names what a set must have.
`

// Write writes a sheet as text.
func Write(s events.TestSheetDefined) string {
	var b strings.Builder
	b.WriteString(head)
	pairs(&b, "name", s.Name, "kind", s.KindOfSet, "maker", s.Maker, "model", s.Model)
	for _, c := range s.Checks {
		b.WriteString("\n[[check]]\n")
		pairs(&b, "label", c.Label, "point", c.Point, "measure", c.Measure, "limits", measure.LimitsText(c.Low, c.High, c.Beside),
			"only-where", c.OnlyWhere, "conditions", c.Conditions, "instrument", c.Instrument, "stage", c.Stage, "source", c.Source)
	}
	return b.String()
}

// pairs writes keys with their values, but no empty ones.
func pairs(b *strings.Builder, list ...string) {
	for i := 0; i < len(list); i += 2 {
		if list[i+1] != "" {
			fmt.Fprintf(b, "%s = %s\n", list[i], quoted(list[i+1]))
		}
	}
}

// quoted writes a text as a basic string of TOML 1.0.
func quoted(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case shown.Obeyed(r):
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// Read reads a sheet from text and checks that it can be walked. An error names
// the line, or the check, and what is wrong with it.
func Read(text string) (s events.TestSheetDefined, err error) {
	var f file
	meta, err := toml.Decode(text, &f)
	var at toml.ParseError
	switch {
	case errors.As(err, &at):
		return s, fmt.Errorf("line %d: %s", at.Position.Line, at.Message)
	case err != nil:
		return s, errors.New(strings.TrimPrefix(err.Error(), "toml: "))
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return s, fmt.Errorf("%q means nothing here; a sheet has name, kind, maker, model and checks, a check has label, point, measure, limits, only-where, conditions, instrument, stage, source", unknown[0].String())
	}
	s = events.TestSheetDefined{Name: clean(f.Name), KindOfSet: clean(f.Kind), Maker: clean(f.Maker), Model: clean(f.Model)}
	for i, c := range f.Check {
		made, err := c.made()
		if err != nil {
			return s, &sheets.Unsound{Number: i + 1, Label: c.Label, Why: err.Error()}
		}
		s.Checks = append(s.Checks, made)
	}
	return s, sheets.Sound(s)
}

func clean(s string) string { return strings.TrimSpace(s) }

// made is the check as it is kept.
func (c check) made() (events.Check, error) {
	made := events.Check{Label: clean(c.Label), Point: clean(c.Point), Measure: clean(c.Measure), OnlyWhere: clean(c.OnlyWhere), Conditions: clean(c.Conditions),
		Instrument: clean(c.Instrument), Stage: clean(c.Stage), Source: clean(c.Source)}
	if clean(c.Limits) == "" {
		return made, nil
	}
	k, ok := measure.Find(made.Measure)
	if !ok {
		return made, fmt.Errorf("limits need a kind of measurement, and %q is none; see: oldhand measure --kinds", made.Measure)
	}
	l, err := k.ReadLimits(c.Limits)
	switch {
	case err != nil:
		return made, err
	case k.Quantity == measure.YesNo && l.String() != "yes":
		return made, errors.New("a yes or no is right when it is yes; ask it the other way round")
	case l.Strict():
		return made, fmt.Errorf("limits %q: what is at a sheet's limit is within; say at most, or at least", c.Limits)
	}
	made.Low, made.High, made.Beside = l.Low, l.High, l.Beside
	return made, nil
}
