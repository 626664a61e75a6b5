package sums

import (
	"errors"
	"fmt"

	"oldhand/events/measure"
)

// DischargeTyped is a capacitor, what empties it, and where it begins.
type DischargeTyped struct {
	Capacitor string // a marking like "40 MFD", or "50-30-30 MFD" for a can
	Resistor  string
	Start     string // a voltage
	To        string // a voltage of interest besides; empty for none
}

// Discharge is how long a capacitor takes. It makes no set safe to touch.
type Discharge struct {
	Capacitor    string    `json:"capacitor"`
	Resistor     string    `json:"resistor"`
	Start        string    `json:"start"`
	Sections     int       `json:"sections,omitempty"` // of a can, taken together
	TimeConstant float64   `json:"time_constant_s"`
	To           []FallsTo `json:"falls_to"`
	Joules       float64   `json:"energy_j"`
	PeakWatts    float64   `json:"peak_w"`
}

// FallsTo is when the voltage has come down to one.
type FallsTo struct {
	Volts   string  `json:"volts"`
	Seconds float64 `json:"seconds"`
}

// Thresholds that are always told: 50 V is widely used (from memory), 30 V is the
// cautious one. Neither is a promise.
var thresholds = []string{"50 V", "30 V"}

// ReadDischarge works it out. It refuses what is no capacitor, resistor or voltage
// above zero, and a marking that is a question.
func ReadDischarge(in DischargeTyped) (d Discharge, err error) {
	c, sections, err := wholeCan(in.Capacitor)
	if err != nil {
		return d, err
	}
	r, err := measure.Parse(in.Resistor, measure.Resistance)
	if err != nil {
		return d, err
	}
	v, err := measure.Parse(in.Start, measure.Voltage)
	if err != nil {
		return d, err
	}
	m, err := measure.NewDischarge(c, r, v)
	if err != nil {
		return d, err
	}
	d = Discharge{Capacitor: c.Canonical(), Resistor: r.Canonical(), Start: v.Canonical(), TimeConstant: m.TimeConstant(), Joules: m.Joules(), PeakWatts: m.PeakWatts()}
	if sections > 1 {
		d.Sections = sections
	}
	targets := thresholds
	if in.To != "" {
		targets = append([]string{in.To}, targets...)
	}
	for _, text := range targets {
		to, err := measure.Parse(text, measure.Voltage)
		if err != nil {
			return Discharge{}, err
		}
		s, err := m.SecondsTo(to)
		if err != nil {
			return Discharge{}, err
		}
		d.To = append(d.To, FallsTo{to.Canonical(), s})
	}
	return d, nil
}

// wholeCan reads a capacitor; the sections of a can are taken together, since all
// of them may be joined.
func wholeCan(text string) (sum measure.Value, sections int, err error) {
	p, err := measure.ParsePart(text, "C")
	if err != nil {
		return sum, 0, err
	}
	if len(p.Sections) == 0 {
		return sum, 0, fmt.Errorf("read %q as a capacitor: %w", text, errors.New("there is no value in it"))
	}
	sum = p.Sections[0]
	for _, v := range p.Sections[1:] {
		if sum, err = measure.Add(sum, v); err != nil {
			return sum, 0, err
		}
	}
	return sum, len(p.Sections), nil
}

// Told is the answer for people.
func (d Discharge) Told() (t Told) {
	t.Caution = OfStoredCharge
	table := Table{Caption: "Discharge", Head: []string{"falls to", "after"}, Numbers: map[int]bool{0: true, 1: true}}
	for _, f := range d.To {
		table.Rows = append(table.Rows, []string{f.Volts, seconds(f.Seconds)})
	}
	t.Tables = []Table{table}
	what := d.Capacitor
	if d.Sections > 0 {
		what = fmt.Sprintf("%s, %d sections taken together,", d.Capacitor, d.Sections)
	}
	t.Words = []string{
		fmt.Sprintf("%s at %s through %s: the time constant is %s, the energy %s J, and the resistor has to stand %s W at first.", what, d.Start, d.Resistor, seconds(d.TimeConstant), figure(d.Joules, 3), figure(d.PeakWatts, 3)),
		"A bleeder may be open, a can may hold more than is printed on it, and dielectric absorption can bring a voltage back. Measure, then trust the meter.",
	}
	return t
}

func seconds(s float64) string {
	if s >= 120 {
		return fmt.Sprintf("%s s (%s min)", figure(s, 3), figure(s/60, 2))
	}
	return figure(s, 3) + " s"
}
