package demo

import "oldhand/events"

// visit is one stay of a unit in the shop, with all it will come to, decided
// when it begins. Its steps are the actions still to be written.
type visit struct {
	unit    *unit
	id      events.VisitID
	home    *bench // where it is worked on
	faults  [3]*fault
	spots   [3]string // where each fault is: a designator
	n       int       // of faults; none is no fault found
	waits   string    // what it waits for
	asked   bool      // the owner gets an estimate
	outcome string
	charge  int // cents
	lastDay events.Day

	steps [maxSteps]step
	count int
	taken int
}

type step struct {
	at moment
	do func(*visit, *entry)
}

const maxSteps = 8

// arrival is the next unit that comes in for the first time.
type arrival struct{}

func (arrival) act(t *teller, at moment) {
	t.made++
	if t.made < int(t.arrivals.n) {
		t.queue.ask(max(at, t.nextArrival(t.made)), arrival{})
	}
	t.begin(t.newUnit(), at)
}

func (t *teller) nextArrival(i int) moment { return t.arrivals.moment(i, t.dice.below(1<<20)) }

// act is a unit that comes in again.
func (u *unit) act(t *teller, at moment) { t.begin(u, at) }

// begin takes a unit in and plans its visit.
func (t *teller) begin(u *unit, at moment) {
	d := t.dice
	v := &visit{unit: u, home: t.benches[1]}
	if d.chance(350) {
		v.home = t.benches[d.below(3)]
	}
	v.draw(t)
	e := t.open(t.counterOr(v.home), at)
	e.receive(u, v.complaint(d))
	v.id, v.lastDay = e.visit, at.day()
	v.plan(t, at)
	t.queue.ask(v.steps[0].at, v)
}

// counterOr is the bench that writes what is done at the counter.
func (t *teller) counterOr(home *bench) *bench {
	if t.dice.chance(600) {
		return t.benches[0]
	}
	return home
}

// draw finds what is wrong with a unit, mostly one thing, the same again where
// a unit comes back at once.
func (v *visit) draw(t *teller) {
	d, u := t.dice, v.unit
	want := 1 + d.below(100)/58
	if d.chance(110) {
		want = 3
	}
	if d.chance(35) {
		want = 0
	}
	if u.wayBack && d.chance(600) && u.last != nil {
		v.add(d, u.last)
		want = 1
	}
	choices := t.story.odds[u.model][u.year-u.model.from]
	for v.n < want {
		if f := choices.pick(d); !v.has(f) {
			v.add(d, f)
		}
	}
}

func (v *visit) add(d dice, f *fault) {
	v.faults[v.n], v.spots[v.n] = f, pick(d, f.at)
	v.n++
}

func (v *visit) has(f *fault) bool {
	for _, g := range v.faults[:v.n] {
		if g == f {
			return true
		}
	}
	return false
}

var noFaultComplaints = []string{"check over", "plays for an hour, then a crackle", "please test before I hang it again"}

// complaint is what the owner says, which is about one of the faults.
func (v *visit) complaint(d dice) string {
	if v.n == 0 {
		return pick(d, noFaultComplaints)
	}
	says := pick(d, v.faults[0].says)
	if v.unit.wayBack && v.faults[0] == v.unit.last {
		return "same trouble again: " + says
	}
	return says
}

// plan lays the steps of the visit over its days.
func (v *visit) plan(t *teller, at moment) {
	d, days := t.dice, t.dice.days()
	first, length := at.day(), func(percent int) events.Day { return events.Day(days * percent / 100) }
	v.outcome = "repaired"
	v.then(d, at, first+length(d.between(8, 30)), (*visit).diagnose)
	if v.n == 0 {
		v.outcome = "no-fault-found"
		v.then(d, at, openOn(first+length(100)), (*visit).ship)
		return
	}
	if v.asked = d.chance(360); v.asked {
		v.then(d, at, first+length(d.between(32, 48)), (*visit).answer)
		if d.chance(130) {
			v.outcome = "declined"
		}
	}
	if v.outcome == "repaired" {
		v.work(t, at, first, length)
	}
	v.then(d, at, openOn(first+length(100)), (*visit).ship)
}

// work plans the steps of a repair.
func (v *visit) work(t *teller, at moment, first events.Day, length func(int) events.Day) {
	d := t.dice
	if d.chance(170) {
		v.then(d, at, first+length(d.between(48, 55)), (*visit).lack)
	}
	if d.chance(28) {
		v.outcome = pick(d, []string{"returned-unrepaired", "returned-unrepaired", "kept-for-parts"})
		return
	}
	v.then(d, at, first+length(d.between(60, 85)), (*visit).repair)
	v.then(d, at, first+length(d.between(86, 95)), (*visit).test)
}

// then adds a step in the evening of a day, behind the step before it.
func (v *visit) then(d dice, begun moment, day events.Day, do func(*visit, *entry)) {
	at, after := on(day, 17*3600+d.below(5*3600))+moment(d.below(1000)), begun
	if v.count > 0 {
		after = v.steps[v.count-1].at
	}
	v.steps[v.count] = step{max(at, after+12*minuteMs), do}
	v.count++
}

// act writes the visit's next step.
func (v *visit) act(t *teller, at moment) {
	s := v.steps[v.taken]
	v.taken++
	e := t.open(v.bench(t), at)
	e.unit, e.visit = v.unit.id, v.id
	v.late(e)
	s.do(v, e)
	v.lastDay = e.when.Day
	if v.taken < v.count {
		t.queue.ask(v.steps[v.taken].at, v)
		return
	}
	t.goodbye(v, at)
}

func (v *visit) bench(t *teller) *bench {
	if t.dice.chance(130) {
		return pick(t.dice, t.benches)
	}
	return v.home
}

// late has some actions written down only the day after.
func (v *visit) late(e *entry) {
	if e.when.Day > v.lastDay && e.teller.dice.chance(60) {
		e.when = events.OnDay(e.when.Day - 1)
	}
}

// goodbye is the end of a visit: some units come back at once, some years
// later, most never.
func (t *teller) goodbye(v *visit, at moment) {
	d, u := t.dice, v.unit
	u.wayBack = false
	if v.outcome == "kept-for-parts" {
		return
	}
	u.last = v.faults[0]
	days := 0
	switch n := d.below(1000); {
	case n < 38 && v.outcome == "repaired":
		u.wayBack = true
		days = d.between(6, 86)
	case n < 232:
		days = 95 + d.below(70)*d.below(70)
	default:
		return
	}
	t.queue.ask(on(openOn(at.day()+events.Day(days)), openAt+d.below(openSeconds)), u)
}
