package benchtest

import (
	"fmt"
	"math/rand/v2"
	"time"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// faults says how often each thing goes wrong, in percent. A world has some of
// them, so that quiet ones and odd mixes both occur.
type faults struct {
	offline, away, unclear, busy, full     int // of the line
	crash, restart, putBack, memory, clone int // of a laptop
	jump                                   int // of its clock
	reset, rollBack, lose, garbage         int // of an exchange
	stick, damage                          int // of what is carried
	thief, newer, long                     int // of what is written
	admit, retire, rekey                   int // what the owner does
}

func drawFaults(rng *rand.Rand) (f faults) {
	for _, rate := range []*int{&f.offline, &f.away, &f.unclear, &f.busy, &f.full, &f.crash, &f.restart, &f.putBack, &f.memory, &f.clone,
		&f.jump, &f.reset, &f.rollBack, &f.lose, &f.garbage, &f.stick, &f.damage, &f.thief, &f.newer, &f.long, &f.admit, &f.retire, &f.rekey} {
		if rng.IntN(2) == 0 {
			*rate = 1 + rng.IntN(20)
		}
	}
	for _, rare := range []*int{&f.reset, &f.rollBack, &f.lose, &f.clone, &f.crash, &f.restart, &f.putBack, &f.admit, &f.retire, &f.rekey, &f.away} {
		*rare = (*rare + 3) / 4
	}
	return f
}

func (w *World) happens(percent int) bool { return w.rng.IntN(100) < percent }

func (w *World) anyLaptop() *Laptop { return w.Laptops[w.rng.IntN(len(w.Laptops))] }

func (w *World) anyExchange() *Model { return w.Exchanges[w.rng.IntN(len(w.Exchanges))] }

// Step lets one thing happen, and looks whether everything still holds.
func (w *World) Step() error {
	w.steps++
	l := w.anyLaptop()
	l.pass(time.Duration(w.rng.IntN(2000)) * time.Millisecond)
	if err := w.fail(l); err != nil {
		return err
	}
	if err := w.goOn(l); err != nil {
		return err
	}
	if err := w.cuts(); err != nil {
		return err
	}
	if err := w.inspect(l); err != nil {
		return err
	}
	if w.rng.IntN(6) == 0 {
		return w.audit(l)
	}
	return nil
}

// cuts lets the power cuts have come that were to come during this step.
func (w *World) cuts() error {
	for _, l := range w.Laptops {
		cut, err := l.cut()
		if !cut {
			continue
		}
		w.tell("%s: the power was cut meanwhile", l.Name)
		if err := w.opened(l, err); err != nil {
			return err
		}
	}
	return nil
}

// goOn lets a laptop do one of the things it does all day.
func (w *World) goOn(l *Laptop) error {
	switch w.rng.IntN(6) {
	case 0:
		return w.work(l)
	case 1:
		if l.online() || len(w.Exchanges) == 0 || l.away > w.steps {
			return nil
		}
		x := w.anyExchange()
		w.tell("%s meets exchange %s", l.Name, x.Epoch)
		return w.meet(l, x)
	case 2, 3:
		if !l.online() {
			return nil
		}
		_, err := w.read(l)
		return err
	case 4:
		if !l.online() {
			return nil
		}
		return l.Bench.Do(faulty{w, l}, l.now)
	}
	if at := l.Bench.WakeAt(); at > 0 && at <= l.now() {
		return l.Bench.Tick(l.now())
	}
	return l.Bench.Grew(l.now())
}

// work writes an action of some events.
func (w *World) work(l *Laptop) error {
	n := 1 + w.rng.IntN(4)
	if w.happens(w.faults.long) {
		n = 300 + w.rng.IntN(900)
	}
	if l.newer && w.rng.IntN(2) == 0 {
		return w.writeNewer(l, n)
	}
	var drafts []events.Draft
	for i := range n {
		drafts = append(drafts, events.Draft{About: unit, Body: events.Note{Text: fmt.Sprintf("%s %d %d", l.Name, w.rng.Uint32(), i)}})
	}
	w.tell("%s writes %d events", l.Name, n)
	return w.write(l, drafts...)
}

// fail lets something go wrong, or not.
func (w *World) fail(l *Laptop) error {
	for _, try := range []func(*Laptop) (bool, error){w.failLine, w.failLaptop, w.failExchange, w.failPeople} {
		if done, err := try(l); done || err != nil {
			return err
		}
	}
	return nil
}

func (w *World) failLine(l *Laptop) (bool, error) {
	switch f := w.faults; {
	case w.happens(f.offline):
		w.tell("%s loses the exchange", l.Name)
		return true, w.part(l)
	case w.happens(f.away):
		l.away = w.steps + 20 + w.rng.IntN(100)
		w.tell("%s is away until step %d", l.Name, l.away)
		return true, w.part(l)
	case w.happens(f.stick):
		return true, w.carry(l)
	}
	return false, nil
}

func (w *World) failLaptop(l *Laptop) (bool, error) {
	switch f := w.faults; {
	case w.happens(f.crash):
		percent := []int{0, 25, 50, 100}[w.rng.IntN(4)]
		if w.rng.IntN(2) == 0 {
			l.trap.set(1+w.rng.IntN(3), percent >= 50, l.Acked)
			return true, nil
		}
		w.tell("%s crashes, keeping %d %% of what was not synced", l.Name, percent)
		return true, w.opened(l, l.crash(rand.New(rand.NewPCG(w.rng.Uint64(), 3)), percent))
	case w.happens(f.restart):
		w.tell("%s: the program is started anew", l.Name)
		return true, w.opened(l, l.restart())
	case w.happens(f.putBack):
		return true, w.putBack(l)
	case w.happens(f.clone) && len(w.Laptops) < mostLaptops && !l.retired:
		return true, w.clone(l)
	case w.happens(f.jump):
		l.clock = l.clock.AddDate(0, 0, w.rng.IntN(2000)-1000)
		w.tell("%s: the clock jumps to %s", l.Name, l.clock.Format(time.DateOnly))
		return true, nil
	}
	return false, nil
}

// clone copies a laptop. With its memory, as a machine that is copied while it
// runs, the copy goes on with the feed that the laptop writes (F12).
func (w *World) clone(l *Laptop) error {
	memory := w.faults.memory > 0 && w.rng.IntN(2) == 0
	w.tell("%s is cloned (with its memory: %v)", l.Name, memory)
	if memory {
		w.book.fork(l.ID)
	}
	c, err := l.clone(fmt.Sprintf("%s, copy %d", l.Name, w.steps), w.folder, seeded(w.seed, 200+w.steps), memory)
	w.Laptops = append(w.Laptops, c)
	return w.opened(c, err)
}

// opened checks what a laptop holds after it was started.
func (w *World) opened(l *Laptop, err error) error {
	if err != nil {
		return err
	}
	for b, r := range l.branches() {
		l.seen[b] = r.Head.Seq
	}
	l.roster = l.Bench.Inbox.Roster()
	if err := l.holds(); err != nil {
		return err
	}
	return l.Bench.Check()
}

func (w *World) putBack(l *Laptop) error {
	if len(l.copies) == 0 || w.rng.IntN(2) == 0 {
		w.tell("%s: a copy of the disk is made", l.Name)
		l.backUp()
		return nil
	}
	i, memory := w.rng.IntN(len(l.copies)), w.happens(3*w.faults.memory)
	w.tell("%s is put back to copy %d (with its memory: %v)", l.Name, i, memory)
	if memory {
		w.book.fork(l.ID)
	}
	return w.opened(l, l.putBack(i, memory))
}

func (w *World) failExchange(*Laptop) (bool, error) {
	if len(w.Exchanges) == 0 {
		return false, nil
	}
	x := w.anyExchange()
	switch f := w.faults; {
	case w.happens(f.reset):
		w.tell("exchange %s is made anew", x.Epoch)
		x.Reset()
	case w.happens(f.rollBack):
		if len(x.copies) == 0 || w.rng.IntN(2) == 0 {
			x.Copy()
			return true, nil
		}
		i := w.rng.IntN(len(x.copies))
		w.tell("exchange %s is put back to copy %d", x.Epoch, i)
		x.PutBack(i)
		for _, l := range w.Laptops {
			if w.faults.crash > 0 && w.rng.IntN(2) == 0 {
				l.trap.set(1+w.rng.IntN(6), false, l.Acked) // while it reads again
			}
		}
	case w.happens(f.lose) && len(x.Messages) > 0:
		i := w.rng.IntN(len(x.Messages))
		w.lose(x, i)
	case w.happens(f.garbage):
		w.litter(x)
		return true, nil
	default:
		return false, nil
	}
	for _, l := range w.Laptops { // as its restart does
		if l.at == x {
			if err := w.part(l); err != nil {
				return true, err
			}
		}
	}
	return true, nil
}

// lose lets a message go, in one of the ways in which a disk does that.
func (w *World) lose(x *Model, i int) {
	number := x.Messages[i].Number
	switch w.rng.IntN(4) {
	case 0:
		w.tell("exchange %s loses message %d and all behind it", x.Epoch, number)
		x.Cut(i)
	case 1:
		if _, lacking := x.Lacking(); lacking == 0 { // see Model.Lose
			w.tell("exchange %s loses message %d", x.Epoch, number)
			x.Lose(i)
		}
	default:
		w.tell("message %d of exchange %s goes bad", number, x.Epoch)
		x.Spoil(i)
	}
}

// litter puts something on a feed that is no part of it.
func (w *World) litter(x *Model) {
	if len(x.Messages) == 0 {
		return
	}
	some := func() replicate.Message { return x.Messages[w.rng.IntN(len(x.Messages))] }
	on, payload := some().Feed, append([]byte(nil), some().Payload...)
	switch w.rng.IntN(3) {
	case 0:
		payload = append(payload, 0) // there may be nothing in it
		payload[w.rng.IntN(len(payload))] ^= 1 << w.rng.IntN(8)
	case 1:
		payload = payload[:w.rng.IntN(len(payload)+1)]
	}
	last, _ := x.Last(on)
	w.tell("somebody litters feed %s behind %d", on.Short(), last.Number)
	x.Publish(on, last.Number, payload)
}

// failPeople lets the owner decide something, or a thief at work.
func (w *World) failPeople(l *Laptop) (bool, error) {
	switch f := w.faults; {
	case w.happens(f.thief):
		return true, w.steal()
	case w.thief != nil && !l.retired && l.ID != w.thief.id && w.thief.id != w.Laptops[0].ID && w.rng.IntN(25) == 0:
		return true, w.retire(l, &Laptop{Name: "the thief's", ID: w.thief.id})
	case l.retired:
		return false, nil
	case w.happens(f.admit) && len(w.Laptops) < mostLaptops:
		return true, w.admit(l)
	case w.happens(f.retire):
		other := w.anyLaptop()
		if other.ID == w.Laptops[0].ID || other.ID == l.ID || other.retired {
			return false, nil
		}
		if err := w.retire(l, other); err != nil || w.rng.IntN(2) == 0 {
			return true, err
		}
		return true, w.rekey(l)
	case w.happens(f.rekey):
		return true, w.rekey(l)
	}
	return false, nil
}
