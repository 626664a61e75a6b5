package web

import (
	"crypto/rand"
	"sync"
)

// doneOnce makes one action of a form that was sent twice: by an impatient hand,
// or by a browser that sends again what it had no answer to. Each form carries an
// id; the first sending acts, and the others are given what came of it.
type doneOnce struct {
	mu    sync.Mutex
	begun map[string]*outcome
	order []string
}

type outcome struct {
	once sync.Once
	path string
	said []notice
	err  error
}

const mostOutcomes = 500

func newDoneOnce() *doneOnce { return &doneOnce{begun: map[string]*outcome{}} }

func newOnce() string { return rand.Text() }

func (d *doneOnce) of(id string) *outcome {
	d.mu.Lock()
	defer d.mu.Unlock()
	o := d.begun[id]
	if o == nil {
		o = &outcome{}
		d.begun[id] = o
		d.order = append(d.order, id)
		if len(d.order) > mostOutcomes {
			delete(d.begun, d.order[0])
			d.order = d.order[1:]
		}
	}
	return o
}

func (d *doneOnce) forget(id string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.begun, id)
}

// act runs an action once for the form's id. What failed can be sent again: the
// form comes back with the same id and what was typed.
func (d *doneOnce) act(id string, fn func() (path string, said []notice, err error)) (string, []notice, error) {
	if id == "" {
		return fn()
	}
	o := d.of(id)
	o.once.Do(func() { o.path, o.said, o.err = fn() })
	if o.err != nil {
		d.forget(id)
	}
	return o.path, o.said, o.err
}
