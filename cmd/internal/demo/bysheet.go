package demo

import (
	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/sheets"
)

// The shop wrote its test sheets down late, by taking those that come with the
// program. A set that is tested from then on is tested by its sheet: every check
// has its reading, or words that say why not. Before, a verdict was all.

// sheetsTaken is the day of it, a Monday.
var sheetsTaken = events.NewDay(2026, 6, 1)

// taking is the action that takes the sheets.
type taking struct{}

func (taking) act(t *teller, at moment) {
	e := t.open(t.benches[0], at)
	for _, s := range sheets.Good {
		t.sheets[s.KindOfSet] = taken{e.add(events.Draft{Body: s}), s}
	}
}

// taken is a sheet of the shop.
type taken struct {
	id events.EventID
	events.TestSheetDefined
}

// has reports whether sets of a model have what a check is only made of.
func (m *model) has(what string) bool {
	switch what {
	case "FM":
		return m.fm
	case "two channels":
		return m.stereo
	case "a tape player", "a lamp":
		return false
	case "a phono or auxiliary input", "a door station":
		return m.from >= 1961
	}
	return true
}

// bySheet walks a sheet and gives the test without a verdict. Where off is set,
// FM is found weak and the set is passed with words.
func (e *entry) bySheet(m *model, s taken, off bool) events.FinalTest {
	t := events.FinalTest{Sheet: s.id}
	am := e.teller.dice.near(130, 35)
	for i, c := range s.Checks {
		switch {
		case !m.has(c.OnlyWhere):
			t.Checks = append(t.Checks, events.CheckNote{Number: i + 1, LeftOut: "there is none: " + c.OnlyWhere})
			continue
		case c.Beside != "" && off:
			e.say(limited(c, reading(c.Point, c.Measure, events.AsLeft, levelMeter, am*45/100, millivolts)))
			t.Checks = append(t.Checks, events.CheckNote{Number: i + 1, Despite: "weak on every station here, strong on the generator"})
			continue
		}
		e.say(limited(c, e.checked(c, am)))
	}
	return t
}

func limited(c events.Check, r events.ReadingTaken) events.ReadingTaken {
	r.Limits, r.Instrument = measure.LimitsText(c.Low, c.High, c.Beside), c.Instrument
	return r
}

// checked is a reading of a check that a sound set gives.
func (e *entry) checked(c events.Check, am int) events.ReadingTaken {
	d := e.teller.dice
	left := func(n int, s scale) events.ReadingTaken {
		return reading(sheets.Point(c), c.Measure, events.AsLeft, "", n, s)
	}
	dial := func(centre, off int, s scale) events.ReadingTaken {
		r := left(centre+off, s)
		r.Conditions = "station on " + decimal(centre, s.decimals, s.symbol)
		return r
	}
	switch c.Measure {
	case "audio-level-am":
		return left(am, millivolts)
	case "audio-level-fm":
		return left(am+d.near(0, 14), millivolts)
	case "audio-level-phono":
		return left(d.near(110, 30), millivolts)
	case "dial-am":
		return dial(e.centre(c)/1000, d.near(0, 9), kilohertz)
	case "dial-fm":
		return dial(e.centre(c)/10_000, d.near(0, 14), megahertz)
	case "channel-balance":
		return left(d.near(0, 18), decibels)
	case "separation":
		return left(d.between(24, 34), wholeDecibels)
	case "hot-check-voltage":
		return left(d.near(22, 20), volts2)
	}
	return events.ReadingTaken{Point: sheets.Point(c), Measure: c.Measure, Text: "yes", Value: events.Quantity{Mant: 1, Unit: "{yes}"}, Stage: events.AsLeft}
}

var wholeDecibels = scale{0, " dB", 0, "dB"}

// centre is the middle of a check's limits, in hertz.
func (e *entry) centre(c events.Check) int {
	sum := 0
	for _, end := range []string{c.Low, c.High} {
		v, err := measure.Parse(end, measure.Frequency)
		khz, err2 := measure.WholeKHz(v)
		if err != nil || err2 != nil {
			e.teller.fail(&sheets.Unread{Label: c.Label, Why: "its limits are no frequencies"})
			return 0
		}
		sum += khz * 1000
	}
	return sum / 2
}
