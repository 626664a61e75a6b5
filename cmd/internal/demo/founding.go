package demo

import "oldhand/events"

// founding is the story's first action.
type founding struct{}

func (founding) act(t *teller, at moment) {
	e := t.open(t.benches[0], at)
	e.add(events.Draft{Body: t.story.founding})
	for _, b := range t.story.benches {
		e.admit(b)
	}
	for _, in := range instruments {
		in.Calibrated = events.OnDay(firstDay - 20)
		e.add(events.Draft{Body: in})
	}
	for _, s := range sheets {
		t.sheets[s.KindOfSet] = e.add(events.Draft{Body: s})
	}
	for _, term := range terms {
		e.add(events.Draft{Body: term})
	}
	for _, day := range closed {
		e.add(events.Draft{Body: day})
	}
}

func (e *entry) admit(b Bench) {
	public, err := b.Key.Public()
	if err != nil {
		e.teller.fail(err)
		return
	}
	admitted, err := e.teller.story.owner.Admit(e.teller.story.shop, public, b.Name, b.Number)
	if err != nil {
		e.teller.fail(err)
		return
	}
	e.add(events.Draft{Body: admitted})
}

var instruments = []events.InstrumentRecorded{
	{Name: levelMeter, Serial: "2214"},
	{Name: voltmeter, Serial: "90-118"},
	{Name: leakageMeter},
	{Name: generator, Serial: "331"},
	{Name: signalTracer},
}

// closed are days on which the shop did not work though others did, and one on
// which it did.
var closed = []events.ShopDay{
	{Day: events.NewDay(2019, 10, 14), Why: "stock-taking"},
	{Day: events.NewDay(2025, 12, 24), Why: "the day before the holidays"},
	{Day: events.NewDay(2026, 7, 4), Open: true, Why: "open house"},
}

// terms are words the shop added to the trade's tables.
var terms = []events.TermAdded{
	{Table: "component", ID: "wall-box-door", Name: "wall box door"},
	{Table: "work", ID: "re-felted", Name: "felt renewed"},
}

var (
	plays     = events.Check{Label: "every source plays", Measure: "check"}
	levelAM   = events.Check{Label: "audio level on AM", Point: "AM", Measure: "audio-level-am", Instrument: levelMeter}
	levelFM   = events.Check{Label: "audio level on FM, beside AM", Point: "FM", Measure: "audio-level-fm", Beside: "AM", Low: "-6 dB", High: "6 dB", Instrument: levelMeter}
	dialAM    = events.Check{Label: "AM dial on a station", Point: "AM dial", Measure: "dial-am", Instrument: generator}
	dialFM    = events.Check{Label: "FM dial on a station", Point: "FM dial", Measure: "dial-fm", Instrument: generator}
	balance   = events.Check{Label: "both channels match", Point: "right over left", Measure: "channel-balance", Low: "-1 dB", High: "1 dB"}
	allTalk   = events.Check{Label: "every station talks and listens", Point: "talks and listens", Measure: "check"}
	leakage   = events.Check{Label: "hot check, both plug ways", Point: "exposed metal to earth, worst of both plug ways", Measure: "hot-check-voltage", High: "0.75 V", Conditions: "no isolation transformer for this one check", Instrument: leakageMeter}
	phonoPlay = events.Check{Label: "audio level on phono", Point: "phono", Measure: "audio-level-phono", Instrument: levelMeter}
)

// sheets are a test sheet for each kind of set that comes in.
var sheets = []events.TestSheetDefined{
	{Name: "master station", KindOfSet: "intercom-master", Checks: []events.Check{plays, levelAM, levelFM, dialAM, dialFM, allTalk, leakage}},
	{Name: "room station", KindOfSet: "room-station", Checks: []events.Check{allTalk}},
	{Name: "door station", KindOfSet: "door-station", Checks: []events.Check{allTalk}},
	{Name: "table radio", KindOfSet: "table-radio", Checks: []events.Check{plays, levelAM, dialAM, leakage}},
	{Name: "receiver", KindOfSet: "receiver", Checks: []events.Check{plays, levelAM, levelFM, dialAM, dialFM, balance, leakage}},
	{Name: "tuner", KindOfSet: "tuner", Checks: []events.Check{levelAM, levelFM, dialAM, dialFM, balance, leakage}},
	{Name: "phono amplifier", KindOfSet: "phono-amplifier", Checks: []events.Check{plays, phonoPlay, balance, leakage}},
}
