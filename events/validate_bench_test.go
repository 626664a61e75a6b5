package events_test

import "oldhand/events"

// The rows of the table of broken clauses for what a bench finds and does:
// intake, diagnosis, repair, measurement.

func brokenIntake() []broken {
	type R = events.Received
	type I = events.Identified
	return joinRows(
		[]broken{breaks("received: no maker, model, serial or kind of set", func(b *R) { *b = R{YearFrom: 1968, Tag: "10071", Complaint: "hums"} })},
		words("received: maker", func(b *R, s string) { b.Maker = s }),
		words("received: model", func(b *R, s string) { b.Model = s }),
		words("received: serial", func(b *R, s string) { b.Serial = s }),
		rowIDs("received: kind of set", func(b *R, s string) { b.KindOfSet = s }),
		yearsMade("received", func(b *R, from, to int) { b.YearFrom, b.YearTo = from, to }),
		[]broken{
			breaks(`received: tag "1007A" is not digits`, func(b *R) { b.Tag = "1007A" }),
			breaks(`received: tag "1234567890123" is not digits`, func(b *R) { b.Tag = "1234567890123" }),
		},
		texts("received: complaint", func(b *R, s string) { b.Complaint = s }),
		texts("received: condition", func(b *R, s string) { b.Condition = s }),
		texts("received: accessories", func(b *R, s string) { b.Accessories = s }),
		words("received: carrier", func(b *R, s string) { b.Carrier = s }),

		[]broken{breaks("identified: says nothing", func(b *I) { *b = I{Evidence: b.Evidence} })},
		words("identified: maker", func(b *I, s string) { b.Maker = s }),
		words("identified: model", func(b *I, s string) { b.Model = s }),
		words("identified: serial", func(b *I, s string) { b.Serial = s }),
		rowIDs("identified: kind of set", func(b *I, s string) { b.KindOfSet = s }),
		yearsMade("identified", func(b *I, from, to int) { b.YearFrom, b.YearTo = from, to }),
		lists("identified: evidence", func(b *I, n int) { b.Evidence = make([]events.Evidence, n) }),
		[]broken{
			breaks("identified: evidence without its kind or its text", func(b *I) { b.Evidence[1].What = "" }),
			breaks("identified: evidence without its kind or its text", func(b *I) { b.Evidence[1].Text = "" }),
		},
		words("identified: evidence", func(b *I, s string) { b.Evidence[1].What = s }),
		texts("identified: evidence", func(b *I, s string) { b.Evidence[1].Text = s }),
		words("identified: evidence part", func(b *I, s string) { b.Evidence[1].Part = s }),

		[]broken{breaks("same unit: no other unit", func(b *events.SameUnit) { b.Other = events.UnitID{} })},
		texts("same unit: why", func(b *events.SameUnit, s string) { b.Why = s }),

		[]broken{breaks("not the same unit: no other unit", func(b *events.NotSameUnit) { b.Other = events.UnitID{} })},
		lists("not the same unit: undoes", func(b *events.NotSameUnit, n int) { b.Undoes = make([]events.EventID, n) }),
		texts("not the same unit: why", func(b *events.NotSameUnit, s string) { b.Why = s }),
	)
}

// yearsMade breaks both clauses of a range of years, from each side.
func yearsMade[B events.Body](what string, set func(b *B, from, to int)) []broken {
	return []broken{
		breaks(what+": year made 1879", func(b *B) { set(b, 1879, 0) }),
		breaks(what+": year made 2201", func(b *B) { set(b, 2201, 0) }),
		breaks(what+": years made 1968 to 1967", func(b *B) { set(b, 1968, 1967) }),
		breaks(what+": years made 1968 to 2201", func(b *B) { set(b, 1968, 2201) }),
		breaks(what+": years made 0 to 1968", func(b *B) { set(b, 0, 1968) }),
	}
}

func brokenDiagnosisAndRepair() []broken {
	type F = events.FaultFound
	type P = events.PartReplaced
	type W = events.WorkDone
	return joinRows(
		[]broken{
			breaks("fault: no component and no words", func(b *F) { *b = F{Symptom: "hum", Designator: "C14"} }),
			breaks("fault: a failure mode without a component", func(b *F) { b.Component = "" }),
		},
		rowIDs("fault: component", func(b *F, s string) { b.Component = s }),
		rowIDs("fault: failure mode", func(b *F, s string) { b.Mode = s }),
		words("fault: designator", func(b *F, s string) { b.Designator = s }),
		choices("fault: how sure", ", certain, likely, suspected", func(b *F, s string) { b.Sure = s }),
		texts("fault: symptom", func(b *F, s string) { b.Symptom = s }),
		texts("fault: cause", func(b *F, s string) { b.Cause = s }),
		texts("fault: text", func(b *F, s string) { b.Text = s }),

		texts("no fault found: text", func(b *events.NoFaultFound, s string) { b.Text = s }),

		[]broken{breaks("part replaced: no part named", func(b *P) { *b = P{Out: b.Out, DateCode: "6342", Reason: "failed"} })},
		words("part replaced: designator", func(b *P, s string) { b.Designator = s }),
		rowIDs("part replaced: component", func(b *P, s string) { b.Component = s }),
		markings("part replaced: out", func(b *P) *events.Marking { return &b.Out }),
		markings("part replaced: in", func(b *P) *events.Marking { return &b.In }),
		words("part replaced: date code", func(b *P, s string) { b.DateCode = s }),
		texts("part replaced: text", func(b *P, s string) { b.Text = s }),
		choices("part replaced: reason", ", failed, preventive, upgraded", func(b *P, s string) { b.Reason = s }),

		[]broken{breaks("work: not named", func(b *W) { b.Work = "" })},
		rowIDs("work", func(b *W, s string) { b.Work = s }),
		rowIDs("work: component", func(b *W, s string) { b.Component = s }),
		words("work: designator", func(b *W, s string) { b.Designator = s }),
		texts("work: text", func(b *W, s string) { b.Text = s }),
		[]broken{
			breaks("work: -1 minutes", func(b *W) { b.Minutes = -1 }),
			breaks("work: 44641 minutes", func(b *W) { b.Minutes = 44_641 }),
		},
	)
}

// markings breaks the clauses of a part's marking.
func markings[B events.Body](what string, of func(*B) *events.Marking) []broken {
	return joinRows(
		words(what, func(b *B, s string) { of(b).Text = s }),
		lists(what, func(b *B, n int) { of(b).Sections = make([]events.Quantity, n) }),
		[]broken{
			breaks(what+": rated -1 volts", func(b *B) { of(b).Volts = -1 }),
			breaks(what+": rated 1000001 volts", func(b *B) { of(b).Volts = 1_000_001 }),
		},
		quantities(what, func(b *B) *events.Quantity {
			m := of(b)
			m.Sections = append(m.Sections, events.Quantity{Mant: 1, Unit: "F"})
			return &m.Sections[len(m.Sections)-1]
		}),
	)
}

// quantities breaks the clauses of a number in a unit.
func quantities[B events.Body](what string, of func(*B) *events.Quantity) []broken {
	return joinRows(
		words(what+": unit", func(b *B, s string) { of(b).Unit = s }),
		[]broken{
			breaks(what+": ten to the 31", func(b *B) { of(b).Exp = 31 }),
			breaks(what+": ten to the -31", func(b *B) { of(b).Exp = -31 }),
		},
	)
}

func brokenMeasurement() []broken {
	type R = events.ReadingTaken
	type F = events.FinalTest
	return joinRows(
		[]broken{
			breaks("reading: no point", func(b *R) { b.Point = "" }),
			breaks("reading: nothing read", func(b *R) { b.Text = "" }),
		},
		words("reading: point", func(b *R, s string) { b.Point = s }),
		rowIDs("reading: measure", func(b *R, s string) { b.Measure = s }),
		words("reading: text", func(b *R, s string) { b.Text = s }),
		quantities("reading", func(b *R) *events.Quantity { return &b.Value }),
		words("reading: instrument", func(b *R, s string) { b.Instrument = s }),
		words("reading: limits", func(b *R, s string) { b.Limits = s }),
		texts("reading: conditions", func(b *R, s string) { b.Conditions = s }),
		choices("reading: stage", ", as found, as left", func(b *R, s string) { b.Stage = s }),
		rowIDs("reading: network", func(b *R, s string) { b.Network = s }),
		choices("reading: amplitude", ", rms, peak", func(b *R, s string) { b.Amplitude = s }),

		[]broken{breaks("final test: no verdict", func(b *F) { b.Verdict = "" })},
		choices("final test: verdict", "passed, failed, not finished", func(b *F, s string) { b.Verdict = s }),
		texts("final test: left out", func(b *F, s string) { b.LeftOut = s }),
		texts("final test: text", func(b *F, s string) { b.Text = s }),
		lists("final test: checks", func(b *F, n int) { b.Checks = make([]events.CheckNote, n) }),
		[]broken{
			breaks("final test: checks of no sheet", func(b *F) { b.Sheet, b.Checks = events.EventID{}, noted(1) }),
			breaks("final test: check 0 behind check 0", func(b *F) { b.Checks = noted(0) }),
			breaks("final test: check 2 behind check 2", func(b *F) { b.Checks = noted(2, 2) }),
			breaks("final test: check 257 behind check 0", func(b *F) { b.Checks = noted(257) }),
			breaks("final test: check 1 is left out or passed despite, one of them", func(b *F) { b.Checks = []events.CheckNote{{Number: 1}} }),
			breaks("final test: check 1 is left out or passed despite, one of them", func(b *F) { b.Checks = noted(1); b.Checks[0].Despite = "x" }),
		},
		words("final test: check left out", func(b *F, s string) { b.Checks = noted(1); b.Checks[0].LeftOut = s }),
		words("final test: check despite", func(b *F, s string) { b.Checks = []events.CheckNote{{Number: 1, Despite: s}} }),
	)
}

// noted are checks that were left out.
func noted(numbers ...int) (list []events.CheckNote) {
	for _, n := range numbers {
		list = append(list, events.CheckNote{Number: n, LeftOut: "no cable"})
	}
	return list
}
