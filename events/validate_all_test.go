package events_test

import (
	"strings"

	"oldhand/events"
)

// The rows of the table of broken clauses for the shop's own lists, and for
// what is the same in every event: drafts, times, what is known of a person.

func brokenSheets() []broken {
	type S = events.TestSheetDefined
	type I = events.InstrumentRecorded
	type T = events.TermAdded
	check := func(set func(c *events.Check, s string)) func(*S, string) {
		return func(b *S, s string) { set(&b.Checks[1], s) }
	}
	return joinRows(
		[]broken{
			breaks("test sheet: no name", func(b *S) { b.Name = "" }),
			breaks("test sheet: no checks", func(b *S) { b.Checks = nil }),
			breaks("test sheet: a check without a label", func(b *S) { b.Checks[1].Label = "" }),
		},
		words("test sheet: name", func(b *S, s string) { b.Name = s }),
		rowIDs("test sheet: kind of set", func(b *S, s string) { b.KindOfSet = s }),
		words("test sheet: maker", func(b *S, s string) { b.Maker = s }),
		words("test sheet: model", func(b *S, s string) { b.Model = s }),
		lists("test sheet: checks", func(b *S, n int) { b.Checks = make([]events.Check, n) }),
		words("test sheet: label", check(func(c *events.Check, s string) { c.Label = s })),
		words("test sheet: point", check(func(c *events.Check, s string) { c.Point = s })),
		rowIDs("test sheet: measure", check(func(c *events.Check, s string) { c.Measure = s })),
		words("test sheet: low", check(func(c *events.Check, s string) { c.Low = s })),
		words("test sheet: high", check(func(c *events.Check, s string) { c.High = s })),
		words("test sheet: beside", check(func(c *events.Check, s string) { c.Beside = s })),
		texts("test sheet: conditions", check(func(c *events.Check, s string) { c.Conditions = s })),
		words("test sheet: instrument", check(func(c *events.Check, s string) { c.Instrument = s })),
		choices("test sheet: stage", ", as found, as left", func(b *S, s string) { b.Checks[1].Stage = s }),
		words("test sheet: only where", check(func(c *events.Check, s string) { c.OnlyWhere = s })),
		words("test sheet: source", check(func(c *events.Check, s string) { c.Source = s })),

		[]broken{
			breaks("instrument: no name", func(b *I) { b.Name = "" }),
			inside("time: unknown precision", func(b *I) { b.Calibrated.Precision = 3 }),
		},
		words("instrument: name", func(b *I, s string) { b.Name = s }),
		words("instrument: maker", func(b *I, s string) { b.Maker = s }),
		words("instrument: model", func(b *I, s string) { b.Model = s }),
		words("instrument: serial", func(b *I, s string) { b.Serial = s }),

		choices("term: table", "component, failure mode, cause, work, kind of set, outcome", func(b *T, s string) { b.Table = s }),
		[]broken{
			breaks("term: no id", func(b *T) { b.ID = "" }),
			breaks("term: no name", func(b *T) { b.Name = "" }),
		},
		rowIDs("term: id", func(b *T, s string) { b.ID = s }),
		words("term: name", func(b *T, s string) { b.Name = s }),
	)
}

func brokenDrafts() []broken {
	draft := func(clause string, b events.Body, change func(*events.Draft)) broken {
		d := draftOf(b)
		d.At, d.By = afternoon, "mara"
		change(&d)
		return broken{of: "Draft", clause: clause, value: d}
	}
	inner := func(b broken) broken { b.inner = true; return b }
	note, term := full[events.Note](), full[events.TermAdded]()
	return []broken{
		draft("event without a body", note, func(d *events.Draft) { d.Body = nil }),
		inner(draft("time: offset of 1440 minutes is over a day", note, func(d *events.Draft) { d.At.Offset = 1440 })),
		draft("by: 201 bytes, at most 200", note, func(d *events.Draft) { d.By = strings.Repeat("w", 201) }),
		draft("by: not UTF-8", note, func(d *events.Draft) { d.By = notUTF8 }),
		draft("by: there is a zero byte in it", note, func(d *events.Draft) { d.By = withZero }),
		draft("term.added: belongs to no visit", term, func(d *events.Draft) { d.Visit = visit }),
		draft("person.recorded: belongs to no visit", full[events.PersonRecorded](), func(d *events.Draft) { d.Visit = visit }),
		draft("feed.begun: belongs to no visit", full[events.FeedBegun](), func(d *events.Draft) { d.Visit = visit }),
		draft("term.added: is about the shop only", term, func(d *events.Draft) { d.About = unit }),
		draft("feed.begun: is about the shop only", full[events.FeedBegun](), func(d *events.Draft) { d.About = unit }),
		draft("person.recorded: about nobody", full[events.PersonRecorded](), func(d *events.Draft) { d.About = [16]byte{} }),
		draft("note: about no unit", note, func(d *events.Draft) { d.About = [16]byte{} }),
		inner(draft("note: no text", events.Note{}, func(*events.Draft) {})),
	}
}

func brokenWhens() []broken {
	when := func(clause string, change func(*events.When)) broken {
		w := afternoon
		change(&w)
		return broken{of: "When", clause: clause, value: w}
	}
	dayBut := func(change func(*events.When)) func(*events.When) {
		return func(w *events.When) { *w = events.OnDay(w.Day); change(w) }
	}
	unknownBut := func(change func(*events.When)) func(*events.When) {
		return func(w *events.When) { *w = events.When{}; change(w) }
	}
	saysSomething, timeOfDay := "time: unknown, yet it says something", "time: a day with a time of day"
	return []broken{
		when("time: unknown precision", func(w *events.When) { w.Precision = 3 }),
		when(saysSomething, unknownBut(func(w *events.When) { w.Day = 1 })),
		when(saysSomething, unknownBut(func(w *events.When) { w.Second = 1 })),
		when(saysSomething, unknownBut(func(w *events.When) { w.Offset = 1 })),
		when(timeOfDay, dayBut(func(w *events.When) { w.Second = 1 })),
		when(timeOfDay, dayBut(func(w *events.When) { w.Offset = 1 })),
		when("time: second -1 is not of a day", func(w *events.When) { w.Second = -1 }),
		when("time: second 86400 is not of a day", func(w *events.When) { w.Second = 86400 }),
		when("time: offset of -1440 minutes is over a day", func(w *events.When) { w.Offset = -1440 }),
		when("time: offset of 1440 minutes is over a day", func(w *events.When) { w.Offset = 1440 }),
		when("time: day 1849-12-31 is not between 1850-01-01 and 2500-01-01", func(w *events.When) { w.Day = events.NewDay(1849, 12, 31) }),
		when("time: day 2500-01-02 is not between 1850-01-01 and 2500-01-01", func(w *events.When) { w.Day = events.NewDay(2500, 1, 2) }),
	}
}

func brokenPersonal() []broken {
	person := func(clause string, change func(*events.Personal)) broken {
		p := customer
		change(&p)
		return broken{of: "Personal", clause: clause, value: p}
	}
	rows := []broken{person("person: nothing known", func(p *events.Personal) { *p = events.Personal{} })}
	// The clauses of words and texts, borrowed from a body that has one of each.
	for _, w := range words("", func(b *events.Note, s string) { b.Text = s }) {
		bad := w.value.(events.Note).Text
		rows = append(rows,
			person("person: name"+w.clause, func(p *events.Personal) { p.Name = bad }),
			person("person: phone"+w.clause, func(p *events.Personal) { p.Phone = bad }),
			person("person: email"+w.clause, func(p *events.Personal) { p.Email = bad }),
			person("person: city"+w.clause, func(p *events.Personal) { p.City = bad }))
	}
	for _, w := range texts("", func(b *events.Note, s string) { b.Text = s }) {
		rows = append(rows, person("person: address"+w.clause, func(p *events.Personal) { p.Address = w.value.(events.Note).Text }))
	}
	return rows
}
