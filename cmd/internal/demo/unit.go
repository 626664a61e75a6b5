package demo

import (
	"strconv"

	"oldhand/events"
	"oldhand/events/tag"
)

// unit is a physical set that comes in, kept only while it is in the shop or
// will come again.
type unit struct {
	id      events.UnitID // zero until it was received
	model   *model
	year    int // made
	serial  string
	noted   bool // the shop knows its year
	person  events.PersonID
	visits  int
	visit   events.VisitID // the latest
	last    *fault         // what it was in for
	wayBack bool           // it comes back soon after it was shipped
}

// serials gives each unit a serial number of its own, in no order that shows.
type serials struct {
	n, step, modulus int64
	taken            map[int64]bool
}

// moduli are the primes below a million, ten and a hundred million: going round
// by any step meets every number below the prime once.
var moduli = []int64{999_983, 9_999_991, 99_999_989}

func newSerials(units int, d dice) serials {
	s := serials{taken: map[int64]bool{}}
	for _, m := range moduli {
		if s.modulus = m; int64(units)*8 < m {
			break
		}
	}
	s.n = int64(d.below(int(s.modulus)))
	s.step = s.modulus/3 + int64(d.below(int(s.modulus/4)))
	for i := range sights {
		for _, number := range sights[i].numbers {
			s.taken[number] = true
		}
	}
	return s
}

func (s *serials) next() int64 {
	for {
		s.n = (s.n + s.step) % s.modulus
		if s.n >= s.modulus/10 && !s.taken[s.n] { // all of one length
			return s.n
		}
	}
}

// serialOf is a serial as the makers print it: a letter, the year, a number.
func serialOf(m *model, year int, number int64) string {
	return string(m.letter) + strconv.Itoa(year%100) + "-" + strconv.FormatInt(number, 10)
}

func (t *teller) newUnit() *unit {
	d := t.dice
	m := anyModel(d)
	u := &unit{model: m, year: d.between(m.from, m.to)}
	if number := t.serials.next(); !d.chance(40) {
		u.serial = serialOf(m, u.year, number)
	}
	return u
}

// nextTag is the tag for the next unit that a bench takes in.
func (b *bench) nextTag(t *teller) string {
	b.tags++
	body, err := tag.Body(b.Number, b.tags)
	if err != nil {
		t.fail(err)
	}
	return tag.Append(body)
}

// retyped is a serial as somebody types it off the set another time: the same
// but for case, dash and space.
func retyped(d dice, serial string) string {
	if serial == "" {
		return ""
	}
	switch d.below(10) {
	case 0:
		return serial[:3] + serial[4:]
	case 1:
		return serial[:3] + " " + serial[4:]
	case 2:
		return string(serial[0]+'a'-'A') + serial[1:]
	}
	return serial
}

var (
	conditions  = []string{"", "", "dusty", "clean", "grille dented", "knob missing", "smoke film on the panel", "packed badly, cabinet scratched", "trim loose"}
	accessories = []string{"", "", "", "", "line cord", "mounting frame", "two room stations", "antenna", "knobs in a bag"}
)

// receive takes a unit in with a complaint and opens its visit. The first time
// it gets a tag.
func (e *entry) receive(u *unit, complaint string) {
	t, d, m := e.teller, e.teller.dice, u.model
	if u.visits == 0 || d.chance(120) {
		u.person = e.customer()
	}
	b := events.Received{Maker: m.maker, Model: m.name, Serial: retyped(d, u.serial), KindOfSet: m.kind, Complaint: complaint,
		Condition: pick(d, conditions), Accessories: pick(d, accessories), Carrier: pick(d, carriers), Person: u.person}
	if u.visits == 0 {
		b.Serial, b.Tag = u.serial, e.bench.nextTag(t)
		b.YearFrom, b.YearTo = u.claimed(d)
	}
	e.visit = events.VisitID{}
	id := e.add(events.Draft{About: u.id, Body: b})
	if u.visits == 0 {
		u.id = events.UnitID(id)
	}
	u.visits++
	u.visit = events.VisitID(id)
	e.unit, e.visit = u.id, u.visit
}

// claimed is the year that an owner gives, more or less.
func (u *unit) claimed(d dice) (from, to int) {
	switch n := d.below(100); {
	case n < 35:
		u.noted = true
		return u.year, 0
	case n < 50:
		u.noted = true
		return u.year - d.below(2), u.year + d.between(1, 2)
	}
	return 0, 0
}

// identify says when a unit was made, by a code on one of its parts. The
// numbers in front are of no registered maker's list.
func (u *unit) identify(e *entry) {
	d := e.teller.dice
	u.noted = true
	week := d.between(1, 52)
	code := pick(d, []string{"901", "917", "934"}) + "-" + strconv.Itoa(u.year%100*100 + week + 10000)[1:]
	e.say(events.Identified{YearFrom: u.year, Evidence: []events.Evidence{{What: "date code", Text: code, Part: pick(d, []string{"C1", "R40", "T1", "LS1"})}}})
}
