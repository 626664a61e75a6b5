package sums

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// LeakageTyped are voltages over a measuring network, or a capacitor from line to
// chassis.
type LeakageTyped struct {
	Readings  []string
	Network   string // an id of measure.Networks; empty for the hot check
	Hz        int    // of the line; 0 for 60
	Amplitude string // events.RMS or Peak; empty is not said
	Limit     string // such as "0.75 V" or "0.7 mA peak"; empty for none

	Line, Capacitor string // instead of, or beside, readings
}

// Leakage is what voltages over a network stand for. Nothing in it declares a set
// safe.
type Leakage struct {
	Network     string           `json:"network"`
	NetworkName string           `json:"network_name"`
	Hz          int              `json:"hz"`
	Amplitude   string           `json:"amplitude,omitempty"`
	Readings    []LeakageReading `json:"readings,omitempty"`
	Capacitor   *CapacitorLeak   `json:"through_capacitor,omitempty"`

	usual string
}

// LeakageReading is one voltage. LimitedMA is what limits are written for, ThroughMA
// the current that really flows at that frequency, both rms or peak as the voltage
// was.
type LeakageReading struct {
	Text      string  `json:"text"`
	LimitedMA float64 `json:"limited_ma"`
	ThroughMA float64 `json:"through_ma"`
	Against   string  `json:"against_limit,omitempty"` // in words; no verdict
}

// CapacitorLeak is what a sound capacitor from line to chassis lets through.
type CapacitorLeak struct {
	MA            float64 `json:"ma"`
	HotCheckVolts float64 `json:"hot_check_volts"`
	Words         string  `json:"words"`
}

// ReadLeakage gives the currents. It refuses a network, an amplitude or a limit that
// it can't read, a frequency below zero, a capacitor without a line, and nothing to
// read at all.
func ReadLeakage(in LeakageTyped) (l Leakage, err error) {
	n, err := measure.FindNetwork(cmp.Or(in.Network, "hot-check"))
	if err != nil {
		return l, err
	}
	if in.Amplitude != "" && in.Amplitude != events.RMS && in.Amplitude != events.Peak {
		return l, fmt.Errorf("amplitude %q: want rms or peak", in.Amplitude)
	}
	l = Leakage{Network: n.ID, NetworkName: n.Name, Hz: cmp.Or(in.Hz, 60), Amplitude: in.Amplitude, usual: n.Usual}
	limit, err := readLimit(in.Limit)
	if err != nil {
		return Leakage{}, err
	}
	for _, text := range in.Readings {
		r, err := l.reading(n, text, limit)
		if err != nil {
			return Leakage{}, err
		}
		l.Readings = append(l.Readings, r)
	}
	if in.Line != "" || in.Capacitor != "" {
		if l.Capacitor, err = throughCapacitor(in.Line, in.Capacitor, l.Hz); err != nil {
			return Leakage{}, err
		}
	}
	if len(l.Readings) == 0 && l.Capacitor == nil {
		return Leakage{}, errors.New("touch current: there is neither a voltage over a network nor a capacitor from line to chassis")
	}
	return l, nil
}

// limit is a limit as it was given.
type limit struct {
	text      string
	value     measure.Value
	amplitude string
}

func readLimit(text string) (l limit, err error) {
	if text = strings.TrimSpace(text); text == "" {
		return l, nil
	}
	l.text = text
	bare := text
	for _, a := range []string{events.RMS, events.Peak} {
		if cut, ok := strings.CutSuffix(strings.ToLower(text), " "+a); ok {
			l.amplitude, bare = a, text[:len(cut)]
		}
	}
	for _, q := range []measure.Quantity{measure.Voltage, measure.Current} {
		if l.value, err = measure.Parse(bare, q); err == nil && l.value.Mant > 0 {
			return l, nil
		}
	}
	return l, fmt.Errorf("limit %q: want a voltage or a current above zero, such as \"0.75 V\" or \"0.7 mA peak\"", text)
}

func (l Leakage) reading(n measure.Network, text string, lim limit) (r LeakageReading, err error) {
	k, _ := measure.Find(n.ReadingID) // every network's is in the table
	v, _, err := k.Read(text)
	if err != nil {
		return r, err
	}
	c, err := n.Current(v, l.Hz)
	if err != nil {
		return r, err
	}
	return LeakageReading{Text: k.Format(v), LimitedMA: c.Limited, ThroughMA: c.Through, Against: lim.against(v, c, l.Amplitude)}, nil
}

// against says how a reading stands to the limit that somebody gave. Rms is never
// held against peak.
func (lim limit) against(v measure.Value, c measure.LeakageCurrent, amplitude string) string {
	share := 0.0
	switch {
	case lim.text == "":
		return ""
	case lim.amplitude != "" && lim.amplitude != amplitude:
		return fmt.Sprintf("not held against the limit of %s: that is %s, and the reading is %s", lim.text, lim.amplitude, cmp.Or(amplitude, "neither said to be rms nor peak"))
	case lim.value.Unit == measure.Volt:
		share = v.Float() / lim.value.Float()
	default:
		share = c.Limited / 1000 / lim.value.Float()
	}
	if share > 1+1e-9 { // a reading at its limit is not above it for a last binary digit
		return fmt.Sprintf("above the limit of %s that you gave, %s times it", lim.text, figure(share, 3))
	}
	return fmt.Sprintf("%s %% of the limit of %s that you gave; that declares no set safe", figure(100*share, 3), lim.text)
}

func throughCapacitor(line, capacitor string, hz int) (*CapacitorLeak, error) {
	if line == "" || capacitor == "" {
		return nil, errors.New("a capacitor from line to chassis: want both the line's voltage and the capacitor")
	}
	v, err := measure.Parse(line, measure.Voltage)
	if err != nil {
		return nil, err
	}
	c, err := measure.Parse(capacitor, measure.Capacitance)
	if err != nil {
		return nil, err
	}
	ma, err := measure.CapacitorLeak(v, hz, c)
	if err != nil {
		return nil, err
	}
	reads, err := measure.HotCheckVoltage(v, hz, c)
	if err != nil {
		return nil, err
	}
	return &CapacitorLeak{ma, reads, fmt.Sprintf("A sound %s from a line of %s and %d Hz to the chassis lets %s mA through, and the hot check reads %s V: a sound old set can read close to a limit, and a leaky capacitor reads more.",
		c.Canonical(), v.Canonical(), hz, figure(ma, 3), figure(reads, 3))}, nil
}

// Told is the answer for people.
func (l Leakage) Told() (t Told) {
	t.Caution = OfLeakage
	amplitude := strings.TrimSpace("mA " + l.Amplitude)
	table := Table{Caption: "Over " + l.NetworkName, Head: []string{"reading", amplitude + " for limits", amplitude + " through it", "limit"}, Numbers: map[int]bool{1: true, 2: true}}
	for _, r := range l.Readings {
		table.Rows = append(table.Rows, []string{strings.TrimSpace(r.Text + " " + l.Amplitude), figure(r.LimitedMA, 4), figure(r.ThroughMA, 4), r.Against})
		t.Words = append(t.Words, l.otherWay(r)...)
	}
	if len(table.Rows) > 0 {
		t.Tables = []Table{table}
		t.Words = append(t.Words, l.method())
	}
	if l.Capacitor != nil {
		t.Words = append(t.Words, l.Capacitor.Words)
	}
	t.Words = append(t.Words, "These are numbers, no verdict: nothing here declares a set safe. Limits differ between makers; local code and the maker's service literature decide.")
	return t
}

// otherWay gives a reading as peak where it is rms, and the other way round.
func (l Leakage) otherWay(r LeakageReading) []string {
	switch l.Amplitude {
	case events.RMS:
		return []string{fmt.Sprintf("%s mA rms is %s mA peak if it is sinusoidal.", figure(r.LimitedMA, 4), figure(r.LimitedMA*measure.SinePeak, 4))}
	case events.Peak:
		return []string{fmt.Sprintf("%s mA peak is %s mA rms if it is sinusoidal.", figure(r.LimitedMA, 4), figure(r.LimitedMA/measure.SinePeak, 4))}
	}
	return nil
}

func (l Leakage) method() string {
	said := fmt.Sprintf("Over %s, at %d Hz. ", l.NetworkName, l.Hz)
	switch l.Network {
	case "hot-check":
		said += "For limits the shortcut of service manuals is taken, the voltage over 1500 Ω; through it, the capacitor counts too. Many manuals give 0.75 V rms or 0.5 mA, one 0.15 V."
	default:
		said += "For limits it is U2 over 500 Ω, the weighted touch current; the real current is larger the higher the frequency. IEC 60990 sets no limits; newer manuals give 0.35 V peak, which is 0.7 mA peak."
	}
	if l.Amplitude == "" {
		said += fmt.Sprintf(" Say whether the meter showed rms or peak, a factor of 1.414: limits for this network are mostly in %s.", l.usual)
	}
	return said
}
