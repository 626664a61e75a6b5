package sums

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"

	"oldhand/events/measure"
)

// LevelsTyped are levels to hold against each other. What each is stands before an
// equals sign: AM, FM, L, R, wanted or leak; without it the first is what the others
// are held against.
type LevelsTyped struct {
	Readings []string
	Rules    measure.LevelRules // zero fields for the usual
}

// Levels are readings as levels, and how they stand to each other.
type Levels struct {
	Readings []Level      `json:"readings"`
	Compared []Comparison `json:"compared,omitempty"`
}

// Level is one reading. DBV is over 1 V and DBu over 0.7746 V, of what is a voltage
// or a level over 1 V.
type Level struct {
	Name string   `json:"name,omitempty"`
	Text string   `json:"text"`
	DBV  *float64 `json:"dbv,omitempty"`
	DBu  *float64 `json:"dbu,omitempty"`

	value measure.Value
}

// Comparison is one level over another, or several taken together.
type Comparison struct {
	What  string  `json:"what"`
	DB    float64 `json:"db"`
	Words string  `json:"words"`
}

// levelNames are the names of readings, each with what it is called here.
var levelNames = map[string]string{
	"am": "AM", "fm": "FM", "l": "L", "left": "L", "r": "R", "right": "R", "wanted": "wanted", "leak": "leak",
}

// ReadLevels compares levels. It refuses fewer than two, names that it does not
// know, readings that are no levels, and readings that don't go together.
func ReadLevels(in LevelsTyped) (l Levels, err error) {
	if len(in.Readings) < 2 {
		return l, errors.New("compare levels: want two or more, such as AM=\"95 mV\" FM=\"47 mV\"")
	}
	for _, text := range in.Readings {
		one, err := level(text)
		if err != nil {
			return Levels{}, err
		}
		l.Readings = append(l.Readings, one)
	}
	l.Compared, err = compare(l.Readings, rulesOr(in.Rules))
	if err != nil {
		return Levels{}, err
	}
	return l, nil
}

func rulesOr(r measure.LevelRules) measure.LevelRules {
	u := measure.UsualLevels
	return measure.LevelRules{FMBelow: cmp.Or(r.FMBelow, u.FMBelow), BalanceGood: cmp.Or(r.BalanceGood, u.BalanceGood),
		BalanceFault: cmp.Or(r.BalanceFault, u.BalanceFault), SeparationUsual: cmp.Or(r.SeparationUsual, u.SeparationUsual)}
}

func level(text string) (l Level, err error) {
	reading := text
	if name, rest, named := strings.Cut(text, "="); named {
		known, ok := levelNames[strings.ToLower(strings.TrimSpace(name))]
		if !ok {
			return l, fmt.Errorf("level %q: %q is none of AM, FM, L, R, wanted, leak", text, name)
		}
		l.Name, reading = known, strings.TrimSpace(rest)
	}
	l.Text = reading
	if l.Name != "" {
		k, _ := measure.Find("audio-level") // a number alone is in mV there
		l.value, _, err = k.Read(reading)
	} else {
		l.value, err = anyLevel(reading)
	}
	if err != nil {
		return l, fmt.Errorf("level %q: %w", text, err)
	}
	if db, _, err := measure.MeanLevel([]measure.Value{l.value}); err == nil {
		dbu := db - 20*math.Log10(measure.VoltsAtZeroDBu)
		l.DBV, l.DBu = &db, &dbu
	}
	return l, nil
}

// anyLevel reads volts, decibels or watts.
func anyLevel(text string) (measure.Value, error) {
	v, first := measure.Parse(text, measure.Voltage)
	if first == nil {
		return v, nil
	}
	for _, q := range []measure.Quantity{measure.Level, measure.Power} {
		if v, err := measure.Parse(text, q); err == nil {
			return v, nil
		}
	}
	return v, first
}

// compare holds the readings against each other that belong together.
func compare(all []Level, rules measure.LevelRules) (list []Comparison, err error) {
	by := map[string][]measure.Value{}
	for _, l := range all {
		by[l.Name] = append(by[l.Name], l.value)
	}
	for _, pair := range []struct {
		over, under string
		words       func(db float64) string
	}{
		{"FM", "AM", func(db float64) string { return FMWords(db, rules) }},
		{"R", "L", func(db float64) string { return BalanceWords(db, rules) }},
		{"wanted", "leak", func(db float64) string { return separationWords(db, rules) }},
	} {
		c, ok, err := over(by, pair.over, pair.under)
		if err != nil {
			return nil, err
		}
		if ok {
			c.Words = pair.words(c.DB) + c.Words
			list = append(list, c)
		}
	}
	plain, err := comparePlain(by[""])
	if err != nil {
		return nil, err
	}
	if list = append(list, plain...); len(list) == 0 {
		return nil, errors.New("compare levels: of these none goes with another: AM goes with FM, L with R, wanted with leak")
	}
	return list, nil
}

// over is the mean of one name's readings over that of another's.
func over(by map[string][]measure.Value, top, below string) (c Comparison, ok bool, err error) {
	if len(by[top]) == 0 || len(by[below]) == 0 {
		return c, false, nil
	}
	a, spreadA, err := measure.MeanLevel(by[top])
	if err != nil {
		return c, false, fmt.Errorf("%s: %w", top, err)
	}
	b, spreadB, err := measure.MeanLevel(by[below])
	if err != nil {
		return c, false, fmt.Errorf("%s: %w", below, err)
	}
	c = Comparison{What: top + " over " + below, DB: a - b}
	if spread := max(spreadA, spreadB); spread > 0 {
		c.Words = fmt.Sprintf(" Each is the mean in power of its readings, which differ by up to %s.", decibels(spread))
	}
	return c, true, nil
}

// FMWords say how FM stands to AM, by the trade's rule.
func FMWords(db float64, rules measure.LevelRules) string {
	said := fmt.Sprintf("FM is %s AM.", relative(db))
	if rules.FMIsLow(db) {
		return said + fmt.Sprintf(" At %s below or more, after the usual cleaning and parts, the trade looks for drifted alignment or a weak stage; compare several stations first (common practice, no source).", decibels(rules.FMBelow))
	}
	return said + fmt.Sprintf(" About equal is usual; %s below or more would point to drifted alignment or a weak stage (common practice, no source).", decibels(rules.FMBelow))
}

// BalanceWords say how the right channel stands to the left.
func BalanceWords(db float64, rules measure.LevelRules) string {
	said := fmt.Sprintf("Right is %s left.", relative(db))
	switch rules.Balance(db) {
	case measure.BalanceEqual:
		return said + fmt.Sprintf(" Within %s is taken for good (common practice, no source).", decibels(rules.BalanceGood))
	case measure.BalanceFaulty:
		return said + fmt.Sprintf(" Over %s is taken for a fault (common practice, no source).", decibels(rules.BalanceFault))
	}
	return said + fmt.Sprintf(" Within %s is taken for good, over %s for a fault (common practice, no source).", decibels(rules.BalanceGood), decibels(rules.BalanceFault))
}

func separationWords(db float64, rules measure.LevelRules) string {
	return fmt.Sprintf("Separation is %s (the ratio of 47 CFR 73.310). FM stereo of the era has %s and more (common practice, no source).", decibels(db), decibels(rules.SeparationUsual))
}

// relative is "3.0 dB below" or "level with".
func relative(db float64) string {
	switch text := decibels(math.Abs(db)); {
	case text == "0.0 dB":
		return "level with"
	case db < 0:
		return text + " below"
	default:
		return text + " above"
	}
}

// comparePlain holds readings without a name against the first; levels in dB are
// taken together too.
func comparePlain(values []measure.Value) (list []Comparison, err error) {
	if len(values) < 2 {
		return nil, nil
	}
	first := values[0]
	if first.Unit == measure.Decibel || first.Unit == measure.DecibelVolt {
		return together(values)
	}
	ratio, how := measure.VoltageRatioDB, "20 log of the voltages, across equal impedances"
	if first.Unit == measure.Watt {
		ratio, how = measure.PowerRatioDB, "10 log of the powers"
	}
	for _, v := range values[1:] {
		db, err := ratio(first, v)
		if err != nil {
			return nil, err
		}
		list = append(list, Comparison{What: v.Canonical() + " over " + first.Canonical(), DB: db, Words: fmt.Sprintf("%s is %s %s (%s).", v.Canonical(), relative(db), first.Canonical(), how)})
	}
	return list, nil
}

func together(values []measure.Value) ([]Comparison, error) {
	sum, err := measure.CombineDB(values)
	if err != nil {
		return nil, err
	}
	mean, spread, err := measure.PowerMeanDB(values)
	if err != nil {
		return nil, err
	}
	return []Comparison{
		{"sum", sum, fmt.Sprintf("Together, of sources that have nothing to do with each other: %s.", decibels(sum))},
		{"mean in power", mean, fmt.Sprintf("Their mean in power is %s; they differ by up to %s. A mean of the numbers themselves would be another.", decibels(mean), decibels(spread))},
	}, nil
}

// Told is the answer for people.
func (l Levels) Told() (t Told) {
	table := Table{Caption: "Levels", Head: []string{"what", "reading", "dBV", "dBu"}, Numbers: map[int]bool{1: true, 2: true, 3: true}}
	for _, one := range l.Readings {
		row := []string{one.Name, one.value.Canonical(), "", ""}
		if one.DBV != nil {
			row[2], row[3] = fmt.Sprintf("%.1f", *one.DBV), fmt.Sprintf("%.1f", *one.DBu)
		}
		table.Rows = append(table.Rows, row)
	}
	t.Tables = []Table{table}
	for _, c := range l.Compared {
		t.Words = append(t.Words, c.Words)
	}
	return t
}
