package demo

import "oldhand/events"

// The steps of a visit. Each is one action: what one person saved at once.

// diagnose is the first evening on the bench.
func (v *visit) diagnose(e *entry) {
	d := e.teller.dice
	if !v.unit.noted && d.chance(400) {
		v.unit.identify(e)
	}
	v.asFound(e)
	if v.n == 0 {
		e.say(events.NoFaultFound{Text: "ran six hours on every source"})
		return
	}
	for i, f := range v.faults[:v.n] {
		e.say(f.found(d, v.spots[i]))
	}
	if v.asked {
		v.charge = 500 * d.between(12, 80)
		e.say(events.EstimateGiven{Amount: int64(v.charge), Currency: "USD"})
		v.wait(e, "owner")
	}
}

func (f *fault) found(d dice, spot string) events.FaultFound {
	b := events.FaultFound{Component: f.component, Mode: f.mode, Designator: spot}
	if d.chance(350) {
		b.Symptom = pick(d, f.says)
	}
	if d.chance(400) {
		b.Cause = f.cause
	}
	switch n := d.below(100); {
	case n < 12:
		b.Sure = "likely"
	case n < 16:
		b.Sure = "suspected"
	}
	return b
}

func (v *visit) wait(e *entry, what string) {
	v.waits = what
	e.say(events.WaitingBegun{For: what})
}

// resume ends what the unit waits for.
func (v *visit) resume(e *entry) {
	if v.waits != "" {
		e.say(events.WaitingEnded{For: v.waits})
		v.waits = ""
	}
}

// answer is the owner's letter.
func (v *visit) answer(e *entry) {
	v.resume(e)
	e.say(events.EstimateAnswered{Accepted: v.outcome != "declined"})
}

// lack is when a part turns out not to be in the drawer.
func (v *visit) lack(e *entry) {
	if e.teller.dice.chance(120) {
		v.wait(e, "donor")
		return
	}
	v.wait(e, "parts")
}

// repair does away with what was found.
func (v *visit) repair(e *entry) {
	d := e.teller.dice
	v.resume(e)
	for i, f := range v.faults[:v.n] {
		f.repair(e, v.unit.model.group, v.spots[i])
	}
	if v.unit.model.group != station && d.chance(240) {
		v.prevent(e)
	}
	if d.chance(150) {
		e.say(events.Note{Text: pick(d, notes)})
	}
}

var notes = []string{
	"rear screws are of two sizes, long ones at the top",
	"an earlier repair left flux on the board, cleaned",
	"owner would like the old parts back",
	"station wires marked with tape, left as they were",
	"glass is fragile, lift by the frame",
}

func (f *fault) repair(e *entry, g group, spot string) {
	s := f.swapFor(g)
	if s != (swap{}) {
		p := e.teller.story.parts[s]
		e.say(events.PartReplaced{Designator: spot, Component: f.component, Out: p.out, In: p.in, Reason: "failed"})
	}
	if f.work != "" {
		e.say(events.WorkDone{Work: f.work, Component: f.component, Designator: spot, Minutes: 5 * e.teller.dice.between(2, 18)})
	}
}

// prevent changes a part that has not failed yet.
func (v *visit) prevent(e *entry) {
	s := faultNamed("coupling leaky").swapFor(v.unit.model.group)
	p := e.teller.story.parts[s]
	e.say(events.PartReplaced{Designator: "C18", Component: "coupling-capacitor", Out: p.out, In: p.in, Reason: "preventive"})
}

// test is the evening before a set leaves.
func (v *visit) test(e *entry) {
	d := e.teller.dice
	var b events.FinalTest
	if s, ok := e.teller.sheets[v.unit.model.kind]; ok {
		b = e.bySheet(v.unit.model, s, v.unit.model.fm && d.chance(30))
	} else {
		v.asLeft(e)
	}
	b.Verdict = events.Passed
	if d.chance(60) {
		b.LeftOut = "outdoor station, none was sent along"
	}
	if d.chance(25) {
		b.Verdict = events.NotFinished
	}
	e.say(b)
	if d.chance(90) {
		v.wait(e, "payment")
	}
}

// ship ends the visit.
func (v *visit) ship(e *entry) {
	d := e.teller.dice
	v.resume(e)
	b := events.Shipped{Outcome: v.outcome, Currency: "USD"}
	switch v.outcome {
	case "repaired":
		b.WarrantyDays = 90
		b.Charge = int64(v.priced(d))
	case "kept-for-parts":
		e.say(b)
		return
	default:
		b.Charge = 2500
	}
	b.Carrier = pick(d, carriers[:len(carriers)-1])
	e.say(b)
}

// priced is what a repair costs: what was estimated, or by what was wrong; a
// come-back costs nothing.
func (v *visit) priced(d dice) int {
	switch {
	case v.unit.wayBack:
		return 0
	case v.charge > 0:
		return v.charge
	}
	return 500 * (d.between(9, 30) + 10*v.n)
}
