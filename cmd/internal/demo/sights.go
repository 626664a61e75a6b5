package demo

import "oldhand/events"

// Sight is something that every story has, whatever its seed and size, and the
// unit to look it up by.
type Sight struct {
	Title                string
	Maker, Model, Serial string
}

// Sights is what there is to see, in the order of the scenes.
var Sights = func() (list []Sight) {
	for i := range sights {
		if s := &sights[i]; s.title != "" {
			m := modelNamed(s.model)
			list = append(list, Sight{s.title, m.maker, m.name, serialOf(m, s.year, s.numbers[0])})
		}
	}
	return list
}()

// sight is a scene with the units that play in it: their model, their year and
// their serial numbers. The first number is the one to look up.
type sight struct {
	title   string // empty for a scene that is only there to fill the benches
	model   string
	year    int
	numbers []int64
	entries int // units that the log will know: one more where one set is entered twice
}

// sights is the table. The numbers are given to no other unit. Scenes stand in
// the map below, which the table does not name, so that neither begins the other.
var sights = []sight{
	{"a reading mistyped, then corrected", "PK-47", 1969, []int64{418207}, 1},
	{"two corrections of one fault that did not see each other: a conflict to settle", "V-1180", 1974, []int64{260915}, 1},
	{"two corrections of one fault, settled since", "V-1140", 1968, []int64{733046}, 1},
	{"a part entered on the wrong unit and withdrawn", "T-1106", 1966, []int64{590382}, 1},
	{"one unit entered twice under two tags, and joined", "Fjordal 5", 1963, []int64{147660}, 2},
	{"two units joined by mistake and parted again", "PK-31", 1961, []int64{382519, 382591}, 2},
	{"a serial mistyped at the second visit, not joined: offered as a likely match", "660", 1965, []int64{905734, 905374}, 2},
	{"a come-back within 90 days, of the same fault", "V-1210", 1980, []int64{664128}, 1},
	{"a unit that was here six times", "538", 1960, []int64{271843}, 1},
	{"work on a laptop that was then restored from its backup: two feeds behind one head", "22", 1967, []int64{819450}, 1},
	{"received on the afternoon when a bench's clock stood years ahead", "Fjordal 2", 1958, []int64{336271}, 1},
	{"a visit without an end, though the unit came again", "14-A", 1959, []int64{752906}, 1},
	{"entries of a newer kind and of a newer version, which this program carries unread", "PK-62 Stereo", 1977, []int64{485013}, 1},
	{"a photograph attached", "512", 1953, []int64{128377}, 1},
	{"waits for its owner", "670", 1973, []int64{943168}, 1},
	{"waits for parts", "T-1150", 1978, []int64{517492}, 1},
	{"waits for payment", "PS-12", 1970, []int64{206859}, 1},
	{"on the bench for more than a year, waiting for a donor", "30-S", 1975, []int64{870241}, 1},
	{"", "PK-47", 1970, []int64{639025, 158794, 722410}, 3},
}

// scenes play the sights, by the first of their numbers.
var scenes = map[int64]func(*scene){
	418207: correction, 260915: conflict, 733046: settledConflict, 590382: withdrawal,
	147660: enteredTwice, 382519: joinedAndParted, 905734: mistypedSerial, 664128: comeBack,
	271843: sixVisits, 819450: restoredLaptop, 336271: clockAhead, 752906: withoutEnd,
	485013: unread, 128377: photograph,
	943168: waitsForOwner, 517492: waitsForParts, 206859: waitsForPayment, 870241: waitsForYears,
	639025: justArrived,
}

// scene is a sight being staged: its units, and a way to say when, where and
// what. Nothing in it is left to chance that a sight depends on.
type scene struct {
	teller *teller
	units  []*unit
}

// stageAll puts every scene's actions on the queue and gives how many units
// they bring.
func (t *teller) stageAll() (units int) {
	for i := range sights {
		s := &sights[i]
		sc := &scene{teller: t}
		m := modelNamed(s.model)
		for _, number := range s.numbers {
			sc.units = append(sc.units, &unit{model: m, year: s.year, serial: serialOf(m, s.year, number), noted: true})
		}
		scenes[s.numbers[0]](sc)
		units += s.entries
	}
	return units
}

// cue is an action of a scene.
type cue struct {
	bench int
	play  func(*entry)
}

func (c cue) act(t *teller, at moment) {
	e := t.open(t.benches[c.bench-1], at)
	if e.bench.ahead == 0 {
		e.when = at.wall()
	}
	c.play(e)
}

// at has an action written on a day like "2021-03-01", at an hour, at a bench.
func (s *scene) at(date string, hour, bench int, play func(*entry)) {
	day, err := events.ParseDay(date)
	if err != nil {
		s.teller.fail(err)
		return
	}
	s.teller.queue.ask(on(day, hour*3600+60*(len(s.teller.queue.heap)%50)), cue{bench, play})
}

// in receives a scene's unit.
func (s *scene) in(date string, bench int, u *unit, complaint string) {
	s.at(date, 10, bench, func(e *entry) { e.receive(u, complaint) })
}

// on has an evening at the bench with a unit in its latest visit.
func (s *scene) on(date string, bench int, u *unit, play func(*entry)) {
	s.at(date, 19, bench, func(e *entry) {
		e.about(u)
		play(e)
	})
}

// out ships a unit.
func (s *scene) out(date string, u *unit, cents int64) {
	s.at(date, 16, 1, func(e *entry) {
		e.about(u)
		e.say(events.Shipped{Outcome: "repaired", Carrier: carriers[0], WarrantyDays: 90, Charge: cents, Currency: "USD"})
	})
}

// about speaks of a unit in its latest visit.
func (e *entry) about(u *unit) { e.unit, e.visit = u.id, u.visit }

// mend finds a fault and does away with it.
func (e *entry) mend(u *unit, key string) {
	f := faultNamed(key)
	e.say(events.FaultFound{Component: f.component, Mode: f.mode, Designator: f.at[0], Cause: f.cause})
	f.repair(e, u.model.group, f.at[0])
}

// passed ends the bench's work.
func (e *entry) passed(u *unit) {
	var t events.FinalTest
	if s, ok := e.teller.sheets[u.model.kind]; ok {
		t = e.bySheet(u.model, s, false)
	}
	t.Verdict = events.Passed
	e.say(t)
}

// correct replaces facts by another of the same visit.
func (e *entry) correct(b events.Body, why string, replaces ...events.EventID) events.EventID {
	raw, err := events.EncodeBody(b)
	if err != nil {
		e.teller.fail(err)
		return events.EventID{}
	}
	fact := events.Fact{Kind: b.Kind(), Version: 1, At: e.when, By: e.who, Visit: e.visit, Body: raw}
	return e.say(events.Corrected{Replaces: replaces, Fact: fact, Why: why})
}
