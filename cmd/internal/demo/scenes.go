package demo

import (
	"crypto/sha256"

	"oldhand/events"
)

// The scenes of what was said wrongly and put right, and of who is who.

func correction(s *scene) {
	u := s.units[0]
	var typed events.EventID
	s.in("2021-03-01", 1, u, "FM is much weaker than AM")
	s.on("2021-03-09", 2, u, func(e *entry) {
		e.say(reading("AM", "audio-level-am", events.AsFound, levelMeter, 96, millivolts))
		typed = e.say(reading("FM", "audio-level-fm", events.AsFound, levelMeter, 410, millivolts))
		e.mend(u, "ratio detector")
	})
	s.on("2021-03-10", 2, u, func(e *entry) {
		e.correct(reading("FM", "audio-level-fm", events.AsFound, levelMeter, 41, millivolts), "a nought too many", typed)
	})
	s.on("2021-03-20", 2, u, func(e *entry) {
		e.say(reading("AM", "audio-level-am", events.AsLeft, levelMeter, 118, millivolts))
		e.say(reading("FM", "audio-level-fm", events.AsLeft, levelMeter, 112, millivolts))
		e.passed(u)
	})
	s.out("2021-03-23", u, 18500)
}

// twoMinds is a fault that two benches put right without having met.
func (s *scene) twoMinds(u *unit, found, corrected string) *[2]events.EventID {
	var typed events.EventID
	var both [2]events.EventID
	fault := events.FaultFound{Component: "output-transistor", Mode: "shorted", Designator: "Q31", Cause: "overload"}
	s.on(found, 2, u, func(e *entry) { typed = e.say(fault) })
	for i, q := range []string{"Q13", "Q12"} {
		s.on(corrected, 1+2*i, u, func(e *entry) {
			better := fault
			better.Designator = q
			both[i] = e.correct(better, "wrong designator", typed)
		})
	}
	return &both
}

func conflict(s *scene) {
	u := s.units[0]
	s.in("2023-09-04", 1, u, "no sound on the left")
	s.twoMinds(u, "2023-09-12", "2023-09-14")
	s.on("2023-09-22", 2, u, func(e *entry) {
		faultNamed("output transistor").repair(e, u.model.group, "Q13")
		e.passed(u)
	})
	s.out("2023-09-25", u, 24000)
}

func settledConflict(s *scene) {
	u := s.units[0]
	s.in("2017-02-06", 1, u, "one side dead")
	both := s.twoMinds(u, "2017-02-14", "2017-02-15")
	s.on("2017-02-20", 2, u, func(e *entry) {
		e.say(events.Settled{Settles: both[:], Keep: both[1], Why: "looked at the board again"})
		faultNamed("output transistor").repair(e, u.model.group, "Q12")
		e.passed(u)
	})
	s.out("2017-02-27", u, 21500)
}

func withdrawal(s *scene) {
	u := s.units[0]
	s.in("2020-06-01", 1, u, "weak on FM")
	s.on("2020-06-10", 3, u, func(e *entry) {
		e.mend(u, "alignment")
		wrong := e.say(events.PartReplaced{Designator: "LS1", Component: "loudspeaker", Reason: "failed", Text: "4 inch loudspeaker"})
		e.say(events.Withdrawn{Withdraws: []events.EventID{wrong}, Why: "was for the radio beside it"})
		e.passed(u)
	})
	s.out("2020-06-15", u, 9500)
}

func enteredTwice(s *scene) {
	u := s.units[0]
	again := &unit{model: u.model, year: u.year, noted: true} // its label had come off
	s.in("2014-05-12", 1, u, "takes five minutes to play")
	s.on("2014-05-20", 2, u, func(e *entry) {
		e.mend(u, "rectifier tube")
		e.passed(u)
	})
	s.out("2014-05-26", u, 11000)
	s.in("2018-09-03", 3, again, "pointer does not move")
	s.on("2018-09-18", 3, again, func(e *entry) {
		e.mend(again, "dial cord")
		e.say(events.SameUnit{Other: u.id, Why: "our own seal of 2014 is inside"})
		e.passed(again)
	})
	s.out("2018-09-24", again, 8000)
}

func joinedAndParted(s *scene) {
	a, b := s.units[0], s.units[1]
	var join events.EventID
	s.in("2009-01-12", 1, a, "hums like a beehive")
	s.on("2009-01-20", 2, a, func(e *entry) { e.mend(a, "filter leaky"); e.passed(a) })
	s.out("2009-01-26", a, 17500)
	s.in("2010-10-04", 1, b, "two rooms are silent")
	s.on("2010-10-12", 2, b, func(e *entry) {
		join = e.say(events.SameUnit{Other: a.id, Why: "serial reads almost the same"})
		e.mend(b, "intercom line")
		e.passed(b)
	})
	s.out("2010-10-18", b, 9000)
	s.on("2011-03-07", 1, b, func(e *entry) {
		e.say(events.NotSameUnit{Other: a.id, Undoes: []events.EventID{join}, Why: "two owners, both sets hang at home"})
	})
}

func mistypedSerial(s *scene) {
	first, second := s.units[0], s.units[1]
	s.in("2008-04-07", 1, first, "weak and dull")
	s.on("2008-04-15", 2, first, func(e *entry) { e.mend(first, "resistor"); e.passed(first) })
	s.out("2008-04-21", first, 12500)
	s.in("2015-11-02", 3, second, "scratches when the volume is turned")
	s.on("2015-11-10", 3, second, func(e *entry) { e.mend(second, "noisy control"); e.passed(second) })
	s.out("2015-11-16", second, 7500)
}

func comeBack(s *scene) {
	u := s.units[0]
	s.in("2024-01-22", 1, u, "stereo light comes on but no stereo")
	s.on("2024-02-06", 2, u, func(e *entry) { e.mend(u, "decoder"); e.passed(u) })
	s.out("2024-02-12", u, 16000)
	s.in("2024-03-18", 1, u, "same trouble again: stereo light comes on but no stereo")
	s.on("2024-03-26", 2, u, func(e *entry) {
		e.mend(u, "decoder")
		e.mend(u, "cracked joint")
		e.passed(u)
	})
	s.out("2024-04-01", u, 0)
}

func sixVisits(s *scene) {
	u := s.units[0]
	for _, v := range []struct{ in, bench, out, says, fault string }{
		{"2001-02-05", "2001-02-13", "2001-02-19", "takes five minutes to play", "rectifier tube"},
		{"2003-09-08", "2003-09-16", "2003-09-22", "loud hum even with the volume down", "filter leaky"},
		{"2007-01-15", "2007-01-23", "2007-01-29", "pointer does not move", "dial cord"},
		{"2012-05-14", "2012-05-22", "2012-05-28", "few stations come in", "tube"},
		{"2016-10-03", "2016-10-11", "2016-10-17", "cord is crumbling", "line cord"},
		{"2022-07-11", "2022-07-19", "2022-07-25", "rattles on bass", "loudspeaker"},
	} {
		s.in(v.in, 1, u, v.says)
		s.on(v.bench, 2, u, func(e *entry) { e.mend(u, v.fault); e.passed(u) })
		s.out(v.out, u, 9000)
	}
}

// photograph attaches evidence by its hash; the file itself is not in the log.
func photograph(s *scene) {
	u := s.units[0]
	s.in("2019-04-08", 1, u, "smells when it is on")
	s.on("2019-04-16", 2, u, func(e *entry) {
		e.say(events.EvidenceAttached{Content: sha256.Sum256([]byte("chassis from below, before")), Name: "chassis-before.jpg",
			Type: "image/jpeg", Size: 2_418_733, Text: "charred around the line capacitor"})
		e.mend(u, "line capacitor")
		e.passed(u)
	})
	s.out("2019-04-22", u, 10500)
}
