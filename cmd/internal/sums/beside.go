package sums

import (
	"fmt"
	"strings"

	"oldhand/events/measure"
)

// What a page says beside a reading while it is typed, in a few words.

// Words say one reading of a dial against its station.
func (l DialLine) Words() string {
	var said []string
	for _, a := range l.Against {
		said = append(said, fmt.Sprintf("%s against %s", a.off(), frequency(l.Band, a.StationKHz)))
	}
	return strings.Join(said, " or ") + ", " + l.remark()
}

// Words say what a band's readings mean together.
func (b DialBand) Words() string { return b.words() }

// Words say one voltage over a network as a current.
func (l Leakage) Words(r LeakageReading) string {
	said := fmt.Sprintf("%s mA touch current", strings.TrimSpace(figure(r.LimitedMA, 4)))
	if l.Amplitude != "" {
		said = fmt.Sprintf("%s mA %s touch current", figure(r.LimitedMA, 4), l.Amplitude)
	}
	if r.Against != "" {
		said += ", " + r.Against
	}
	return said + "; a number, which declares no set safe"
}

// FMOverAM says how FM readings stand to AM readings of one visit, as volts or as
// levels over 1 V. It refuses what MeanLevel refuses.
func FMOverAM(am, fm []measure.Value) (Comparison, error) {
	return named("FM", "AM", fm, am, FMWords)
}

// Balance says how the right channel stands to the left.
func Balance(left, right []measure.Value) (Comparison, error) {
	return named("R", "L", right, left, BalanceWords)
}

func named(top, below string, a, b []measure.Value, words func(float64, measure.LevelRules) string) (Comparison, error) {
	c, _, err := over(map[string][]measure.Value{top: a, below: b}, top, below)
	if err == nil {
		c.Words = words(c.DB, measure.UsualLevels) + c.Words
	}
	return c, err
}
