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
