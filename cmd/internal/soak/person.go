package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// person works at a bench: by its page, or by commands that go through the page's
// process. Each has units of its own, so that what is refused is wrong.
type person struct {
	s     *soak
	bench *bench
	r     *rand.Rand
	hand  string // begins the marks: the bench and which person of it
	n     int
	now   deed    // what is being done
	units []*unit // that are not shipped, and some that are
	names []string
}

// unit is one that a person took in.
type unit struct {
	tag, serial, maker, model string
	open, waits               bool
	notes                     []string // ends of ids of entries that stand
	back                      []string // and of those that were taken back
}

// errExcused is returned by a deed that a fault of ours broke off.
var errExcused = errors.New("a fault came between")

// mark is what an action is known by. No mark is the beginning of another.
func (p *person) mark() string {
	p.n++
	return fmt.Sprintf("sk-%s-%06d", p.hand, p.n)
}

func pick[T any](p *person, from []T) T { return from[p.r.IntN(len(from))] }

// some is a unit of this person's, one that is open or any; nil for none.
func (p *person) some(fit func(*unit) bool) *unit {
	at := p.r.IntN(len(p.units) + 1)
	for i := range p.units {
		if u := p.units[(at+i)%len(p.units)]; fit(u) {
			return u
		}
	}
	return nil
}

// drop is for a unit of which it is not known how it stands.
func (p *person) drop(u *unit) {
	p.units = slices.DeleteFunc(p.units, func(o *unit) bool { return o == u })
}

// most is how many units a person has an eye on.
const most = 40

func (p *person) add(u *unit) {
	p.units = append(p.units, u)
	if len(p.units) > most {
		p.units = p.units[1:]
	}
}

// deed is a thing that a person does. It goes on what there is: where nothing fits it
// does nothing and says so.
type deed struct {
	name   string
	often  int
	saves  bool
	lookup bool
	do     func(p *person) (bool, error)
}

// work does one deed after the other until the context ends.
func (p *person) work(ctx context.Context, deeds []deed) {
	all := 0
	for _, d := range deeds {
		all += d.often
	}
	for ctx.Err() == nil {
		n := p.r.IntN(all)
		i := 0
		for ; n >= deeds[i].often; i++ {
			n -= deeds[i].often
		}
		p.try(deeds[i])
		pause(ctx, time.Duration(p.r.ExpFloat64()*float64(p.s.pause)))
	}
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

func (p *person) try(d deed) {
	p.now = d
	did, err := d.do(p)
	switch {
	case errors.Is(err, errExcused):
		p.s.did.broken(d.name)
		p.bench.untilUp(p.s.ctx)
	case err != nil:
		p.s.wrong("bench %s, %s: %v", p.bench.name, d.name, err)
	case did:
		p.s.did.done(d.name)
	}
}

// untilUp waits until no fault of the process goes on.
func (b *bench) untilUp(ctx context.Context) {
	for b.ill.Load() > 0 && ctx.Err() == nil {
		pause(ctx, 100*time.Millisecond)
	}
}

// get opens a page.
func (p *person) get(path string) (answer, error) {
	before := p.bench.mood()
	a, err := p.bench.get(p.s.all, path)
	kind := "pages"
	if p.now.lookup {
		kind = "lookups on the page"
	}
	p.took(before, kind, a.took, err)
	return a, p.judge(before, "GET "+path, a, err)
}

// took notes how long it took, where no fault came between.
func (p *person) took(before mood, kind string, how time.Duration, err error) {
	if err == nil && !p.bench.excused(before) {
		p.s.times.took(kind, how)
	}
}

// judge says what is wrong with an answer. While a disk is full, or a process is not
// there, it is excused.
func (p *person) judge(before mood, what string, a answer, err error) error {
	switch {
	case err == nil && a.status < http.StatusBadRequest:
		return nil
	case p.bench.excused(before):
		return fmt.Errorf("%w: %s", errExcused, what)
	case err != nil:
		return fmt.Errorf("%s: %w", what, err)
	}
	return fmt.Errorf("%s: status %d: %.600s", what, a.status, textOf(a.body))
}

// post sends a form. Where the page went away before it answered, or could not save,
// the very same is sent again once it is up, as by a person who reloads the page: it
// must be there once.
func (p *person) post(path string, v url.Values, mark string) (a answer, err error) {
	for again := range 3 {
		before := p.bench.mood()
		a, err = p.bench.send(p.s.all, path, v)
		p.took(before, "saves on the page, with the page after it", a.took, err)
		if err = p.judge(before, "POST "+path+" "+v.Encode(), a, err); err == nil || !errors.Is(err, errExcused) {
			break
		}
		if again == 0 {
			p.s.did.again()
		}
		p.bench.untilUp(p.s.all)
	}
	if err == nil && mark != "" {
		p.s.ledger.marked(p.bench.name, mark)
	}
	return a, err
}

// form opens the page, fills its form in and sends it.
func (p *person) form(page, id string, typed url.Values, mark string) (a answer, err error) {
	if a, err = p.get(page); err != nil {
		return a, err
	}
	action, v, err := formIn(a.body, id)
	if err != nil {
		return a, err
	}
	for k, list := range typed {
		v[k] = list
	}
	return p.post(action, v, mark)
}

// at fills in one of the forms of a unit's bench page.
func (p *person) at(u *unit, do string, typed ...string) (bool, error) {
	v, mark := url.Values{}, p.mark()
	for i := 0; i+1 < len(typed); i += 2 {
		v.Set(typed[i], strings.ReplaceAll(typed[i+1], "MARK", mark))
	}
	_, err := p.form("/unit/"+u.tag+"/bench?do="+do, do, v, mark)
	if err != nil {
		p.drop(u)
	}
	return err == nil, err
}
