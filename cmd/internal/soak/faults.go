package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/url"
	"os"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
)

// fault is a thing that happens to a bench. It lasts until it is over.
type fault struct {
	name   string
	often  int
	deadly bool // it ends the process
	do     func(f *faults, b *bench) error
}

// faults makes them, one at a time a bench and several at once.
type faults struct {
	s   *soak
	r   *rand.Rand
	ctx context.Context
}

var allFaults = []fault{
	{"killed", 8, true, (*faults).kill},
	{"stopped and started", 2, true, (*faults).stop},
	{"frozen", 2, false, (*faults).freeze},
	{"nobody hosts", 3, false, (*faults).unhost},
	{"away from the others", 3, false, (*faults).away},
	{"its clock jumps", 3, false, (*faults).jump},
	{"its disk is full", 3, true, (*faults).full},
	{"a command is killed", 4, false, (*faults).killCommand},
}

// lasts is how long a fault goes on: short ones are the most, as a rule.
func (f *faults) lasts() time.Duration {
	most := min(f.s.length/10, time.Minute)
	return time.Second + time.Duration(f.r.ExpFloat64()*float64(most)/4)
}

// make makes faults until the context ends. In the second half nothing ends the
// processes but the last bench's: what they hold is watched then.
func (f *faults) make() {
	all := 0
	for _, x := range allFaults {
		all += x.often
	}
	for f.ctx.Err() == nil {
		pause(f.ctx, time.Duration(f.r.ExpFloat64()*float64(f.s.calm)))
		if f.ctx.Err() != nil {
			return
		}
		n, i := f.r.IntN(all), 0
		for ; n >= allFaults[i].often; i++ {
			n -= allFaults[i].often
		}
		x, b := allFaults[i], f.s.benches[f.r.IntN(len(f.s.benches))]
		if x.deadly && f.s.steady() {
			b = f.s.last()
		}
		if err := x.do(f, b); err != nil {
			f.s.wrong("bench %s, %s: %v", b.name, x.name, err)
		}
	}
}

// happened notes a fault.
func (f *faults) happened(b *bench, what string) {
	f.s.did.happened(what)
	f.s.tell("%s: %s", b.name, what)
}

// kill kills the process as a power cut would, and starts it again. What it said
// before is saved must be there.
func (f *faults) kill(b *bench) error {
	b.hit.Lock()
	defer b.hit.Unlock()
	over := b.disturb()
	defer over()
	f.happened(b, "killed")
	if _, err := b.end(os.Kill); err != nil {
		return err
	}
	pause(f.ctx, time.Duration(f.r.ExpFloat64()*float64(2*time.Second)))
	if err := b.start(); err != nil {
		return err
	}
	return f.s.still(b)
}

// stop ends the process as a person does.
func (f *faults) stop(b *bench) error {
	b.hit.Lock()
	defer b.hit.Unlock()
	over := b.disturb()
	defer over()
	f.happened(b, "stopped and started")
	how, err := b.end(os.Interrupt)
	if err == nil && !how.Success() {
		err = fmt.Errorf("it ends with %v", how)
	}
	if err != nil {
		return err
	}
	pause(f.ctx, f.lasts())
	return b.start()
}

// freeze is a laptop's lid that is closed for a while.
func (f *faults) freeze(b *bench) error {
	b.hit.Lock()
	defer b.hit.Unlock()
	over := b.disturb()
	defer over()
	pid := b.pid()
	if pid == 0 {
		return nil
	}
	f.happened(b, "frozen")
	if err := freeze(pid); err != nil {
		return err
	}
	pause(f.ctx, min(f.lasts(), 30*time.Second))
	return thaw(pid)
}

// unhost ends the hosting at the bench that hosts, for a while.
func (f *faults) unhost(*bench) error {
	b := f.s.benches[0]
	f.s.part.Lock()
	defer f.s.part.Unlock()
	defer f.s.meetings()()
	f.happened(b, "nobody hosts")
	if err := f.s.press(b, "unhost", nil); err != nil {
		return err
	}
	pause(f.ctx, f.lasts())
	return f.s.press(b, "host", f.s.hosting())
}

// away is a bench that is out of the house.
func (f *faults) away(*bench) error {
	b := f.s.benches[1+f.r.IntN(len(f.s.benches)-1)]
	f.s.part.Lock()
	defer f.s.part.Unlock()
	defer f.s.meetings()()
	f.happened(b, "away from the others")
	if err := f.s.press(b, "unwatch", nil); err != nil {
		return err
	}
	pause(f.ctx, f.lasts())
	return f.s.press(b, "watch", nil)
}

// jump sets a bench's clock wrong, by up to a few hours either way, or right again.
func (f *faults) jump(b *bench) error {
	wrong := time.Duration(0)
	if f.r.IntN(3) > 0 {
		wrong = time.Duration(f.r.NormFloat64() * float64(2*time.Hour)).Truncate(time.Second)
	}
	f.s.tell("%s: its clock is wrong by %v", b.name, wrong)
	f.s.did.happened("its clock jumps")
	return setClock(b.clock(), wrong)
}

// killCommand kills a command that a bench is at. What it was to do may be done or not.
func (f *faults) killCommand(b *bench) error {
	ctx, stop := context.WithTimeout(f.ctx, time.Duration(20+f.r.IntN(200))*time.Millisecond)
	defer stop()
	f.s.did.happened("a command is killed")
	_, _ = b.run(ctx, "receive", "--maker", "Ostrel", "--model", "R-950", "--serial", fmt.Sprintf("KC-%08d", f.r.IntN(1e8)), "--complaint", "killed")
	return nil
}

// full fills the small disk, at times to where the program stops by itself, at times
// to the last byte.
func (f *faults) full(*bench) error {
	d, b := f.s.disk, f.s.last()
	if d == nil {
		return nil
	}
	leave := int64(f.r.IntN(120)) << 20 // with its reserve given up, still less than what it keeps free
	if f.r.IntN(3) == 0 {
		leave = 0
	}
	b.hit.Lock()
	defer b.hit.Unlock()
	over := b.disturb()
	defer over()
	b.grave.Store(true)
	defer b.grave.Store(false)
	f.happened(b, "its disk is full")
	empty, err := d.fill(leave)
	if err == nil {
		err = f.looksOnly(b)
	}
	if empty != nil {
		if err := empty(); err != nil {
			return err
		}
	}
	if err != nil {
		return err
	}
	return f.recovers(b)
}

// looksOnly wants that nothing is said to be saved on a full disk, that looking goes on
// and that it is said why.
func (f *faults) looksOnly(b *bench) error {
	end := time.Now().Add(f.lasts())
	for i := 0; f.ctx.Err() == nil && (i == 0 || time.Now().Before(end)); i++ {
		pause(f.ctx, 1500*time.Millisecond) // the program looks at its disk once a second
		if b.pid() == 0 {
			break
		}
		a, err := b.get(f.s.all, "/")
		if err == nil && a.status != 200 && b.pid() != 0 {
			return fmt.Errorf("the page Today is answered with status %d: %.400s", a.status, textOf(a.body))
		}
		_, err = b.run(f.s.all, "note", f.s.someTag(b), "on a full disk")
		var ended *exited
		switch {
		case err == nil:
			return errors.New("a note is said to be saved on it")
		case errors.As(err, &ended) && ended.code != app.ExitNotSaved && b.pid() != 0:
			return fmt.Errorf("that a note is not saved is said as: %w", err)
		}
	}
	return nil
}

// recovers wants that the bench saves again by itself, or once it is started again
// where it stopped.
func (f *faults) recovers(b *bench) error {
	var last error
	for end := time.Now().Add(upWithin); time.Now().Before(end); pause(f.s.all, time.Second) {
		if b.pid() == 0 {
			f.s.did.happened("stopped by its full disk")
			if err := b.start(); err != nil {
				return err
			}
		}
		if _, last = b.run(f.s.all, "note", f.s.someTag(b), "there is room again"); last == nil {
			return f.s.still(b)
		}
	}
	return fmt.Errorf("it does not save again: %w", last)
}

// press sends one of the small forms of a bench's page Benches. A kill may come
// between: it is pressed until it is done.
func (s *soak) press(b *bench, form string, typed url.Values) error {
	var last error
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end) && s.all.Err() == nil; pause(s.all, time.Second) {
		before := b.mood()
		a, err := b.get(s.all, "/benches")
		if err == nil && a.status == 200 {
			action, v, none := formIn(a.body, form)
			if none != nil {
				return nil // it was done, and the answer was not heard
			}
			for k, list := range typed {
				v[k] = list
			}
			if a, err = b.send(s.all, action, v); err == nil && a.status == 200 {
				return nil
			}
		}
		last = fmt.Errorf("form %s: status %d: %.400s: %w", form, a.status, textOf(a.body), err)
		if !b.excused(before) && !strings.Contains(string(a.body), "uses this port") {
			return last
		}
	}
	return last
}
