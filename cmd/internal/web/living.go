package web

import (
	"bytes"
	"errors"
	"fmt"
	"hash/fnv"
	"html/template"
	"net/http"
	"reflect"
	"sync"
)

// living is a page whose main part is drawn anew when the ledger changes, and
// left alone where it would come out the same.
type living struct {
	Alive string // see request.alive
	Here  string // its address
	Print string // stands for what is drawn
	Drawn template.HTML
	Main  any // what stands still around it

	status int // of the answer; zero for 200
}

// live shows a page whose block "renewed" is alive. If the browser has the very
// block already, it is told so and keeps what it shows: nothing flickers, and
// what has the focus keeps it. value is asked for after the page has noted how
// far the ledger was, and not at all where the page was drawn since. here is the
// page's address, and all that it hangs on besides the ledger and the day.
func (q *request) live(name, title, here string, value func() (any, error)) error {
	alive, err := q.alive("")
	if err != nil {
		return err
	}
	l, err := q.s.drawn.once(alive+q.shop.Day(), here, func(was living) (living, error) { return q.drawLiving(name, was, value) })
	if err != nil {
		return err
	}
	l.Alive, l.Here, q.status = alive, here, l.status
	switch {
	case q.wantsPart() && q.asked("shown") == l.Print:
		q.w.WriteHeader(http.StatusNoContent)
		return nil
	case q.wantsPart():
		return q.part(name, "living", l)
	}
	return q.show(name, title, l)
}

// drawLiving draws a page's block, unless what it shows is what was drawn before.
func (q *request) drawLiving(name string, was living, value func() (any, error)) (l living, err error) {
	if l.Main, err = value(); err != nil {
		return l, err
	}
	if was.Print != "" && was.status == q.status && reflect.DeepEqual(was.Main, l.Main) {
		return was, nil
	}
	var b bytes.Buffer
	if err := q.s.look.draw(&b, name, "renewed", l.Main); err != nil {
		return l, err
	}
	sum := fnv.New64a()
	sum.Write(b.Bytes())
	l.status = q.status
	l.Print, l.Drawn = fmt.Sprintf("%016x", sum.Sum64()), template.HTML(b.String()) // drawn by a template, which escapes
	return l, nil
}

// drawnOnce keeps pages as they were drawn until they show something else: they are
// looked at far more often than a bench writes. Of several that ask for one page
// at once one draws it and the others wait. Its zero value is ready.
type drawnOnce struct {
	mu   sync.Mutex
	when string // what of the ledger and which day they show
	kept map[string]*oncePage
	last map[string]living // each as it was drawn last, whatever was recorded since
}

// errUndrawn is returned where a page's drawing broke off for those that waited.
var errUndrawn = errors.New("the page was not drawn; ask again")

// oncePage is a page that is drawn, or being drawn.
type oncePage struct {
	once sync.Once
	l    living
	err  error
}

// mostDrawn is how many pages are kept; each is below 100 kB.
const mostDrawn = 60

// once gives a page; draw is given what it was drawn as before, if anything.
func (d *drawnOnce) once(when, here string, draw func(was living) (living, error)) (living, error) {
	x, was := d.find(when, here)
	x.once.Do(func() {
		x.err = errUndrawn // should draw not come back
		x.l, x.err = draw(was)
		if x.err == nil {
			d.remember(here, x.l)
		}
	})
	if x.err != nil {
		d.forget(x, here) // it may go well the next time
	}
	return x.l, x.err
}

func (d *drawnOnce) remember(here string, l living) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.last) >= mostDrawn || d.last == nil {
		d.last = map[string]living{}
	}
	d.last[here] = l
}

func (d *drawnOnce) find(when, here string) (*oncePage, living) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.when != when || len(d.kept) >= mostDrawn {
		d.when, d.kept = when, map[string]*oncePage{}
	}
	if d.kept[here] == nil {
		d.kept[here] = &oncePage{}
	}
	return d.kept[here], d.last[here]
}

func (d *drawnOnce) forget(x *oncePage, here string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept[here] == x {
		delete(d.kept, here)
	}
}
