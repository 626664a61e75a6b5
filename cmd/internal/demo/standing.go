package demo

import "oldhand/events"

// The scenes of laptops that went wrong, and of what stands on the benches.

// restoredLaptop is bench 2 going on from the backup of ten days before: the
// feed of those ten days and the one after it name the same parent.
func restoredLaptop(s *scene) {
	u := s.units[0]
	var backup events.Head
	s.at("2013-06-03", 10, 2, func(e *entry) {
		backup = e.bench.head
		e.bench.turnOver(backup)
		e.receive(u, "one side dead")
	})
	s.on("2013-06-11", 2, u, func(e *entry) { e.mend(u, "output transistor") })
	s.at("2013-06-13", 19, 2, func(e *entry) {
		e.bench.turnOver(backup)
		e.about(u)
		e.say(events.Note{Text: "disk of this laptop replaced; the other benches have what was written since the third"})
		e.passed(u)
	})
	s.out("2013-06-17", u, 14000)
}

// yearsAhead is how far bench 3's clock was off.
const yearsAhead = moment(3*365+1) * dayMs

// clockAhead is an afternoon at bench 3. The days are typed and right; the ids
// are of three years later, and so are all that this bench gives until then,
// since a bench's ids only rise.
func clockAhead(s *scene) {
	u := s.units[0]
	s.at("2019-06-11", 13, 3, func(e *entry) {
		e.bench.ahead = yearsAhead
		e.when = events.OnDay(e.when.Day)
		e.receive(u, "few stations come in")
	})
	s.at("2019-06-11", 17, 3, func(e *entry) {
		e.about(u)
		e.mend(u, "tube")
		e.bench.ahead = 0
	})
	s.on("2019-06-20", 3, u, func(e *entry) { e.passed(u) })
	s.out("2019-06-24", u, 8500)
}

func withoutEnd(s *scene) {
	u := s.units[0]
	s.in("2004-02-09", 1, u, "hum and weak")
	s.on("2004-02-17", 2, u, func(e *entry) { e.mend(u, "filter dry") })
	s.in("2006-05-08", 1, u, "distorted on everything")
	s.on("2006-05-16", 2, u, func(e *entry) { e.mend(u, "coupling leaky"); e.passed(u) })
	s.out("2006-05-22", u, 13000)
}

// unread has what a program newer than this one would write.
func unread(s *scene) {
	u := s.units[0]
	s.in("2026-08-10", 1, u, "chime does not ring")
	s.on("2026-08-18", 3, u, func(e *entry) {
		e.newer(120, 1, events.RawBody("\xa2\x01\x65panel\x02\x18\x2a")) // {1: "panel", 2: 42}
		e.newer(events.KindNote, 2, events.RawBody("\xa2\x01\x6cin two parts\x09\x82\x01\x02"))
		e.mend(u, "noisy transistor")
		e.passed(u)
	})
	s.out("2026-08-24", u, 12000)
}

// newer writes an event about the unit that this program can't read.
func (e *entry) newer(kind events.Kind, version uint, body events.RawBody) {
	err := e.bench.wake(e.teller, e.at, e.when)
	if err != nil {
		e.teller.fail(err)
		return
	}
	id, err := e.bench.nextID(e.teller.dice)
	if err != nil {
		e.teller.fail(err)
		return
	}
	ev, err := e.bench.link(events.Envelope{ID: id, Kind: kind, Version: version, About: e.unit, Visit: e.visit, At: e.when, By: e.who}, body)
	if err != nil {
		e.teller.fail(err)
		return
	}
	e.action.Events = append(e.action.Events, ev)
}

func waitsForOwner(s *scene) {
	u := s.units[0]
	s.in("2026-10-12", 1, u, "talk button does nothing")
	s.on("2026-10-27", 2, u, func(e *entry) {
		e.say(events.FaultFound{Component: "talk-switch", Mode: "corroded", Designator: "S3"})
		e.say(events.EstimateGiven{Amount: 16500, Currency: "USD", Text: "all six stations"})
		e.say(events.WaitingBegun{For: "owner"})
	})
}

func waitsForParts(s *scene) {
	u := s.units[0]
	s.in("2026-09-28", 1, u, "stereo light comes on but no stereo")
	s.on("2026-10-13", 3, u, func(e *entry) {
		e.say(events.FaultFound{Component: "if-filter", Mode: "drifted", Designator: "FL2", Sure: "likely"})
		e.say(events.WaitingBegun{For: "parts", Text: "two filters, ordered"})
	})
}

func waitsForPayment(s *scene) {
	u := s.units[0]
	s.in("2026-10-05", 2, u, "can hear the kitchen but cannot answer")
	s.on("2026-10-20", 2, u, func(e *entry) {
		e.mend(u, "talk switch")
		e.passed(u)
	})
	s.on("2026-11-03", 1, u, func(e *entry) { e.say(events.WaitingBegun{For: "payment"}) })
}

func waitsForYears(s *scene) {
	u := s.units[0]
	s.in("2025-03-10", 1, u, "hums, and the left side is dead")
	s.on("2025-03-25", 2, u, func(e *entry) {
		e.say(events.FaultFound{Component: "power-transformer", Mode: "open", Designator: "T1", Cause: "overload"})
		e.say(events.WaitingBegun{For: "donor", Text: "owner agrees to wait for one"})
	})
}

// justArrived are units that stand on the benches with little done.
func justArrived(s *scene) {
	for i, date := range []string{"2026-11-11", "2026-11-16", "2026-11-20"} {
		s.in(date, 1+i%3, s.units[i], faultNamed("filter leaky").says[i%2])
	}
	s.on("2026-11-17", 1, s.units[0], func(e *entry) {
		e.say(events.FaultFound{Component: "filter-capacitor", Mode: "leaky", Designator: "C1"})
		e.say(events.WaitingBegun{For: "parts"})
	})
}
